"""The state in which rules read one sentence, and what sentences leave for the next one."""

from dataclasses import dataclass, field
from itertools import pairwise

from converter.reading.grammar.parts import Draft, Target, Used
from converter.reading.grammar.tendons import grades_tendons, has_plus, jerks_meant, others_apart
from converter.reading.tokens import Token
from converter.words import Vocabulary

HEADS = frozenset({"site", "region", "reflex", "condition"})
VALUES = frozenset({"value", "pair", "count"})
TENDON_KINDS = frozenset({"site", "reflex"})
"""Kinds without which no tendon is graded."""
_SPEAKING_SIGN = frozenset({"trigger", "sign"})
_TWO_LIMBS = 5
LINKS = ("is", "colon", "equals", "dash", "anaphor", "now")
"""What may stand between a name and its value."""


@dataclass(slots=True)
class Context:
    """What earlier sentences of the note leave for the next.

    Attributes:
        reflexes: the last thing spoken of was reflexes.
        side: the side that a lead gives to the rest of its sentence.
        block_side: the side that a line of its own gives to the lines under it.
        limb: the limb, and its side, whose examination a line or a clause gives.
        limb_of_line: that limb stands before a colon, and serves its whole line.
        limbs_headed: the limbs that a heading names, for reflexes without a place under it.
        limbs_examined: that heading stands alone, or their tone, power or sensation has been spoken of.
        limbs_alone: that heading stands alone in its line, so it serves the lines below.
        region: the region that a lead gives to a reflex without a place.
        last_side: the side named last, for "ipsilateral".
        graded_side: the side of the value read last.
        pair_order: which side the first of two values belongs to.
        pairs: a right/left pair that is no maximum has been written.
        status: `historical` inside a part about the past.
        stated_time: how the note names the time of an earlier exam that it quotes.
        foreign: a heading has said that something else is spoken of.
        last: the targets of the last value, for a value that follows alone.
        listed: the reflexes that the sentence before graded one by one, for a row of grades behind.
        headed: a reflex heading without a value stands right before.
    """

    reflexes: bool = False
    side: str | None = None
    block_side: str | None = None
    limb: tuple[str, str] | None = None
    limb_of_line: bool = False
    limbs_headed: Target | None = None
    limbs_examined: bool = False
    limbs_alone: bool = False
    region: Target | None = None
    last_side: str | None = None
    graded_side: str | None = None
    pair_order: str = "right-left"
    pairs: bool = False
    status: str = "current"
    foreign: bool = False
    stated_time: str | None = None
    last: list[Target] = field(default_factory=list)
    listed: list[Target] = field(default_factory=list)
    headed: bool = False


@dataclass(frozen=True, slots=True)
class Here:
    """The targets that begin at a token, after so many drafts, and the index after them."""

    start: int
    drafts: int
    targets: list[Target]
    end: int


@dataclass(slots=True)
class Parser:
    """One sentence being read.

    Attributes:
        text: the whole note.
        tokens: the tokens of the sentence.
        context: what earlier sentences left.
        vocabulary: words, reflexes and scales.
        index: the token that the next rule starts at.
        drafts: the findings so far.
        subject: a reflex named without a value, for "triceps tendon struck directly: reflex 2+".
        here: the targets that begin at `index`, once a rule has asked for them; see `targets_here`.
        reflexive: for each token, whether a joint or muscle named there means its reflex.
        spoken: for each token, whether reflexes have been spoken of before it.
    """

    text: str
    tokens: list[Token]
    context: Context
    vocabulary: Vocabulary
    index: int = 0
    drafts: list[Draft] = field(default_factory=list)
    subject: Target | None = None
    here: Here | None = None
    reflexive: list[bool] = field(default_factory=list)
    spoken: list[bool] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.reflexive, self.spoken = _reflexive(self.tokens, self.context)

    def kind(self, index: int) -> str:
        """The kind of the token at an index, `end` past the last one."""
        return self.tokens[index].kind if 0 <= index < len(self.tokens) else "end"

    def word(self, index: int) -> str:
        """The characters of the token at an index, in lower case."""
        if not 0 <= index < len(self.tokens):
            return ""
        token = self.tokens[index]
        return self.text[token.start : token.end].lower()

    def between(self, index: int) -> str:
        """The characters between a token and the next one, in lower case, without the blanks around them."""
        return self.text[self.tokens[index].end : self.tokens[index + 1].start].strip().lower()

    def has(self, index: int, flag: str) -> bool:
        """Whether the word at an index carries a flag."""
        return 0 <= index < len(self.tokens) and flag in self.tokens[index].flags

    def skip(self, index: int, *kinds: str) -> int:
        """The first index at or after `index` whose kind is not one of `kinds`."""
        tokens, end = self.tokens, len(self.tokens)
        while 0 <= index < end and tokens[index].kind in kinds:
            index += 1
        return index

    def mark(self, used: Used) -> None:
        """Remember what rules made of tokens."""
        for token, role in used:
            token.used = role

    def mark_range(self, start: int, end: int, role: str) -> None:
        """Remember one role for a run of tokens that no rule has used."""
        for token in self.tokens[start:end]:
            token.used = token.used or role


def _reflexive(tokens: list[Token], context: Context) -> tuple[list[bool], list[bool]]:
    """Where a joint or muscle means its reflex: after reflex wording, until another subject is named.

    What stands before the first subject of the sentence takes that subject's sense, so that in
    "knees 2+, ankles 1+, plantars down" the knees are reflexes, and in "biceps 5/5, strength full" not.
    """
    found: list[bool] = []
    spoken: list[bool] = []
    tendons = grades_tendons(tokens, foreign=context.foreign)
    current: bool | None = True if context.reflexes or tendons else None
    apart, provoked = tendons and others_apart(tokens), False
    jerks = jerks_meant(tokens)
    for index, token in enumerate(tokens):
        if _speaks_of_reflexes(token) or index in jerks:
            if current is None:
                found = [True] * len(found)
            current = True
        elif token.kind == "other_exam":
            current, provoked = apart, apart
        found.append(bool(current) and not (provoked and "place" in token.flags))
        spoken.append(bool(current))
    _lead_in(tokens, found)
    if _limbs_before_the_noun(tokens) or _limbs_beside_signs(tokens):
        spoken = [True] * len(tokens)
    return found, spoken


def _limbs_before_the_noun(tokens: list[Token]) -> bool:
    """As in "RUE 2+ LUE 3+ RLE 2+ LLE 3+ reflexes": the noun at the end says what was graded."""
    kinds = [token.kind for token in tokens]
    paired = kinds[:-1:2], kinds[1:-1:2]
    return (
        len(tokens) >= _TWO_LIMBS
        and kinds[-1] == "reflex"
        and set(paired[0]) == {"region"}
        and set(paired[1]) == {"value"}
    )


def _limbs_beside_signs(tokens: list[Token]) -> bool:
    """As in "UE 2+, LE 3+ with 2 beats of clonus": limbs graded beside a sign, and nothing else examined."""
    graded = any(
        (token.kind == "region" and "limb" in token.flags and has_plus(after))
        or (has_plus(token) and after.kind == "region" and "all" in after.flags)
        for token, after in pairwise(tokens)
    )
    signs = any(token.kind == "site" and token.flags >= _SPEAKING_SIGN for token in tokens)
    return graded and signs and not any(token.kind == "other_exam" for token in tokens)


def _lead_in(tokens: list[Token], found: list[bool]) -> None:
    """In "biceps, triceps and knee reflexes" the noun at the end serves the whole list."""
    listing = {"site", "region", "side", "comma", "and", "slash", "open", "close"}
    serves = False
    for index in range(len(tokens) - 1, -1, -1):
        if _speaks_of_reflexes(tokens[index]):
            serves = tokens[index].kind != "reflex" or index == 0 or tokens[index - 1].kind != "comma"
        elif tokens[index].kind not in listing:
            if serves and tokens[index].kind in VALUES and tokens[index - 1].kind == "other_exam":
                _leave_first(tokens, found, index + 1)
            serves = False
        found[index] = found[index] or serves


def _leave_first(tokens: list[Token], found: list[bool], index: int) -> None:
    """As in "power 4 R quads, KJ reduced": the first name belongs to the grade before it."""
    while index < len(tokens) and tokens[index].kind != "comma":
        found[index] = False
        index += 1


def _speaks_of_reflexes(token: Token) -> bool:
    return token.kind in ("reflex", "condition", "site", "legend", "otherwise") and bool(
        token.flags & {"trigger", "testing"}
    )
