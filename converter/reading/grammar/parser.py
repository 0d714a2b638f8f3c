"""The state in which rules read one sentence, and what sentences leave for the next one."""

from dataclasses import dataclass, field
from itertools import pairwise

from converter.reading.grammar.parts import Draft, Target, Used
from converter.reading.tokens import Token
from converter.reading.written import Pair, Run, Written
from converter.words import Vocabulary

HEADS = frozenset({"site", "region", "reflex", "condition"})
VALUES = frozenset({"value", "pair", "count"})
TENDON_KINDS = frozenset({"site", "reflex"})
"""Kinds without which no tendon is graded."""
_NO_TENDON = frozenset({"place", "root", "infant", "plantars"})
"""Flags of names that a grade does not make a tendon's."""
_SPEAKING_SIGN = frozenset({"trigger", "sign"})
_TWO_LIMBS = 5
_MAXIMUM = 4
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
    current: bool | None = True if context.reflexes or grades_tendons(tokens, context) else None
    jerks = _jerks_meant(tokens)
    for index, token in enumerate(tokens):
        if _speaks_of_reflexes(token) or index in jerks:
            if current is None:
                found = [True] * len(found)
            current = True
        elif token.kind == "other_exam":
            current = False
        found.append(bool(current))
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
        (token.kind == "region" and "limb" in token.flags and _has_plus(after))
        or (_has_plus(token) and after.kind == "region" and "all" in after.flags)
        for token, after in pairwise(tokens)
    )
    signs = any(token.kind == "site" and token.flags >= _SPEAKING_SIGN for token in tokens)
    return graded and signs and not any(token.kind == "other_exam" for token in tokens)


def grades_tendons(tokens: list[Token], context: Context) -> bool:
    """Whether tendons are graded as only reflexes are: "biceps 2+", "patellar 2/4", never "biceps 4/5"."""
    if any(_inverted(tokens, index) or _graded_jerks(tokens, index) for index in range(len(tokens))):
        return True
    if _jerks_meant(tokens) or _out_of_four(tokens):
        return True
    if context.foreign or any(token.kind == "other_exam" for token in tokens):
        return False
    return (
        _leading_plus(tokens)
        or _joints_beside_toes(tokens)
        or any(
            token.kind == "site"
            and "joint" in token.flags
            and not token.flags & _NO_TENDON
            and token.meaning != "plantar"
            and _graded_as_reflex(tokens, index)
            for index, token in enumerate(tokens)
        )
    )


def _jerks_meant(tokens: list[Token]) -> set[int]:
    """As in "Jerks: knee 2+", "arm jerks 2+", "tone normal, jerks brisk": jerks with a value are reflexes."""
    meant: set[int] = set()
    examined = any(t.meaning == "motor" or "plantars" in t.flags or "toes" in t.flags for t in tokens)
    for index, token in enumerate(tokens):
        short = "short" in token.flags
        if token.kind != "reflex" or "jerk" not in token.flags or not (short or _is_plural(token)):
            continue
        behind = [t for t in tokens[index + 1 : index + 4] if t.kind not in ("is", "colon", "side")][:1]
        headed = index == 0 and len(tokens) > 1 and tokens[1].kind == "colon" and not short
        opens = index == 0 or tokens[index - 1].kind in ("comma", "and")
        if headed or (behind and _has_plus(behind[0])) or (opens and _worded(tokens[index + 1 :], examined)):
            meant.add(index)
    return meant


def _is_plural(token: Token) -> bool:
    return token.end - token.start == len("jerks")


def _worded(behind: list[Token], examined: bool) -> bool:
    """As in "jerks present and equal": alone, or before a place, a word that only reflexes have.

    "Jerks present" is of reflexes too where tone, power or the plantars are examined beside it.
    """
    said: list[str | None] = []
    for token, after in pairwise([*behind, None]):
        if token is not None and isinstance(token.written, Written) and not token.written.graded:
            said.append(token.written.descriptor)
        elif token is None or token.kind in _BEHIND_A_WORD:
            break
        elif not _joins_word(token, after):
            return False
    return any(word is not None and (examined or word not in ("present", "absent")) for word in said)


def _joins_word(token: Token, after: Token | None) -> bool:
    placed = token.kind == "at" and after is not None and after.kind in ("side", "region", "site")
    return placed or token.kind in ("is", "side", "and", "colon", "region", "site")


def _has_plus(token: Token) -> bool:
    first = token.written.first if isinstance(token.written, Pair) else token.written
    return isinstance(first, Written) and (first.plus != "none" or first.counted)


def _out_of_four(tokens: list[Token]) -> bool:
    """As in "Ach 0/4, Pat 1/4 R": two tendons or more, each out of four, where strength is not named."""
    if any(token.meaning == "motor" for token in tokens):
        return False
    graded = {
        token.meaning
        for token, after in pairwise(t for t in tokens if t.kind != "side")
        if token.kind == "site"
        and "joint" in token.flags
        and not token.flags & _NO_TENDON
        and (
            getattr(after.written, "denominator", None) == _MAXIMUM
            or (isinstance(after.written, Pair) and after.written.second.low == _MAXIMUM)
        )
    }
    return len(graded) > 1


def _leading_plus(tokens: list[Token]) -> bool:
    """As in "biceps +2, patellar +3 R": two tendons or more, each with a grade that leads with its plus."""
    graded = {
        token.meaning
        for token, after in pairwise(t for t in tokens if t.kind != "side")
        if token.kind == "site"
        and "joint" in token.flags
        and not token.flags & {"place", "root", "infant"}
        and isinstance(after.written, Written)
        and after.written.plus == "leading"
    }
    return len(graded) > 1


def _joints_beside_toes(tokens: list[Token]) -> bool:
    """As in "Knees 2+, ankles 1+, toes down": joints graded in one line with the direction of the toes."""
    answered = graded = False
    for token, after in pairwise(t for t in tokens if t.kind not in ("side", "is", "colon")):
        written = after.written if isinstance(after.written, Written) else None
        if token.kind == "site" and written is not None:
            plantar = "toes" in token.flags or token.meaning == "plantar"
            answered = answered or (plantar and written.response is not None)
            as_reflexes = written.plus == "trailing" or written.counted
            graded = graded or ("place" in token.flags and as_reflexes)
    return answered and graded


def _inverted(tokens: list[Token], index: int) -> bool:
    """As in "inverted supinator", "SJ inverted": only a reflex is."""
    named = tokens[index].kind == "site" and "joint" in tokens[index].flags
    beside = tokens[max(0, index - 1) : index + 2]
    return named and any(token.kind == "quality" and token.meaning == "inverted" for token in beside)


def _graded_jerks(tokens: list[Token], index: int) -> bool:
    """As in "Jerks: elbow 2+", "UL jerks brisk": jerks with a grade or a strength are reflexes."""
    if tokens[index].kind != "reflex" or "jerk" not in tokens[index].flags:
        return False
    following = [token for token in tokens[index + 1 : index + 8] if token.kind not in _BEFORE_JERKS_GRADE]
    named = bool(following) and following[0].kind in ("site", "region")
    value = following[named] if len(following) > named else None
    written = value.written if value is not None else None
    if isinstance(written, Pair):
        written = written.first
    if not isinstance(written, Written):
        return False
    if written.graded:
        return written.plus == "trailing" or written.counted or written.denominator == 4
    leads = index == 0 or tokens[index - 1].kind in ("region", "at", "side")
    ends = len(following) == named + 1 or following[named + 1].kind in (
        "comma",
        "side",
        "and",
        "site",
        "region",
    )
    if index == 0 and len(following) > named + 2 and following[named + 1].kind == "and":
        alike = following[named + 2].written
        ends = ends or (isinstance(alike, Written) and alike.descriptor == "symmetric")
        return ends and written.descriptor in ("brisk", "normal", "absent", "present")
    return leads and ends and written.descriptor in ("brisk", "normal", "absent")


_BEFORE_JERKS_GRADE = frozenset({"side", "colon", "dash", "is", "at", "equals", "open"})


_BEHIND_A_WORD = frozenset({"comma", "but", "except", "otherwise", "open", "stop"})
_BEFORE_A_GRADE = {"side", "colon", "open", "close", "is", "slash", "comma", "at", "value"}


def _graded_as_reflex(tokens: list[Token], index: int) -> bool:
    """Whether the first grade behind a tendon is one: "biceps 2+", "triceps absent on the left, 2+ right"."""
    for token in tokens[index + 1 : index + 10]:
        written = token.written
        if isinstance(written, Pair):
            if written.second.low == 4:
                return (written.first.low or 0) <= 4
            return written.first.plus == "trailing" and written.second.low != 5
        if isinstance(written, Run):
            return any(value.plus == "trailing" for value in written.values)
        if isinstance(written, Written) and written.descriptor != "absent":
            return written.plus == "trailing" or written.denominator == 4
        if token.kind not in _BEFORE_A_GRADE and "root" not in token.flags:
            return False
    return False


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
