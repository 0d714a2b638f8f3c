"""The pieces that the rules pass about: targets, value phrases and drafts of findings."""

from dataclasses import dataclass, field

from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

Used = list[tuple[Token, str]]
"""Tokens and the part each plays."""


@dataclass(slots=True)
class Target:
    """What a value is about.

    Attributes:
        site, which, root: as in a finding.
        side: the side said with it, or None.
        general: the reflex noun without a place.
        region: a region rather than one reflex.
        foreign: another part of the examination, whose value is no reflex finding.
        implied: the descriptor that the word itself carries, as in "areflexia".
        flags: flags of the word that named it.
        used: the tokens that name it.
    """

    site: str
    which: str | None = None
    root: str | None = None
    side: str | None = None
    general: bool = False
    region: bool = False
    foreign: bool = False
    implied: str | None = None
    flags: frozenset[str] = frozenset()
    used: Used = field(default_factory=list)

    def copy(self) -> "Target":
        """The same again, for a rule to change."""
        return Target(
            self.site, self.which, self.root, self.side, self.general, self.region, self.foreign,
            self.implied, self.flags, [*self.used],
        )  # fmt: skip

    @property
    def specific(self) -> bool:
        """One reflex, named."""
        return not (self.general or self.region or self.foreign)

    @property
    def sign(self) -> bool:
        """Something whose presence is the finding."""
        return "sign" in self.flags


@dataclass(slots=True)
class Details:
    """How a reflex was elicited and what else was seen; each as in a finding."""

    beats: str | None = None
    sustained: bool | None = None
    reinforcement: str | None = None
    manoeuvre: str | None = None
    position: str | None = None
    technique: str | None = None
    quality: str | None = None
    comparison: str | None = None
    uncertain: bool = False

    def note(self, token: Token) -> None:
        """Take over what a word of manner says; `only_with:jendrassik` names its manoeuvre too."""
        if token.kind == "reinforcement":
            reinforcement, _, manoeuvre = token.meaning.partition(":")
            self.reinforcement = reinforcement or None
            self.manoeuvre = manoeuvre or self.manoeuvre
        else:
            setattr(self, token.kind, token.meaning or None)


@dataclass(slots=True)
class Phrase:
    """A value with what is said around it.

    Attributes:
        value: the value, or None where only details are said.
        pair: two values for two sides.
        side: a side said with the value, or None.
        negated: the value is denied.
        details: what else is said.
        used: its tokens.
    """

    value: Written | None = None
    pair: Pair | None = None
    side: str | None = None
    negated: bool = False
    details: Details = field(default_factory=Details)
    used: Used = field(default_factory=list)

    @property
    def weak(self) -> bool:
        """Whether it says nothing about strength, so that another value beside it wins."""
        return self.pair is None and (self.value is None or self.value.weak)

    @property
    def worded(self) -> bool:
        """Whether it is a word and not a number."""
        return self.pair is None and self.value is not None and not self.value.graded


@dataclass(slots=True)
class Draft:
    """A finding before its scale, exam and identifier are known."""

    target: Target
    side: str
    value: Written | None
    details: Details
    used: Used
    negated: bool = False
    status: str = "current"
    reason: str | None = None
    implied_value: str | None = None
