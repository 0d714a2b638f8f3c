"""Grades, pairs, beats and repeats as they are written, found by their form alone.

Takes the text and a place in it; gives the value that stands there and where it ends. What the value is
about, and whether it is a reflex grade at all, is left to the grammar.
"""

import re
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Written:
    """A value as written.

    Attributes:
        low, high: ends of the grade, equal unless a range is written; None for a word.
        plus: `none`, `trailing` or `leading`.
        counted: whether the grade is a number of plus signs.
        denominator: the maximum, where written.
        bare: a lone digit, which is a grade only right beside what it grades.
        descriptor: the canonical word, where the value is one.
        response: the plantar response, where the value is one.
        polarity: `positive` or `negative`, whose meaning depends on what is tested.
        uncertain: written as doubtful.
    """

    low: float | None = None
    high: float | None = None
    plus: str = "none"
    counted: bool = False
    denominator: int | None = None
    bare: bool = False
    descriptor: str | None = None
    response: str | None = None
    polarity: str | None = None
    uncertain: bool = False
    weak: bool = False

    @property
    def graded(self) -> bool:
        """Whether this is a number."""
        return self.low is not None


@dataclass(frozen=True, slots=True)
class Pair:
    """Two values for the two sides, in the order written."""

    first: Written
    second: Written


@dataclass(frozen=True, slots=True)
class Count:
    """Beats of clonus, or a bare repeat such as `x3`."""

    text: str
    repeat: bool


@dataclass(frozen=True, slots=True)
class Run:
    """Three grades or more with a slash between, one for each of as many names: `2+/2+/1+`."""

    values: tuple[Written, ...]


_ROMAN = {"I": 1, "II": 2, "III": 3, "IV": 4, "V": 5}
_SPELLED = {"zero": 0, "one": 1, "two": 2, "tow": 2, "three": 3, "four": 4, "five": 5}
_MORE = {**_SPELLED, "six": 6, "seven": 7, "eight": 8, "nine": 9, "ten": 10}
_GRADE_AND_ROMAN = 12
"""Characters of "grade " and the longest Roman numeral, or more."""
_RUNS_INTO = re.compile(r"(?:[\w.$#%°²]|\d[-–/])\Z")
_SIDE_LETTER = re.compile(r"(?:^|[^\w.])[RLrl]\Z")
_NOT_BEFORE = re.compile(
    r"[A-Za-z0-9%°²]|[.:,/]\d|[-–]\d|(?:[^\S\r\n]|\r?\n(?-i:(?=[a-z])))?(?:mm|cm|mg|ml|kg|lb|hrs?|hours?|days?|wks?|weeks?|months?|mo|years?|yrs?|yo|"
    r"minutes?|mins?|sec|times|vax|doses?|inch|inches|feet|ft|st|nd|rd|th|degrees|per|visits?|episodes?|"
    r"jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|january|february|march|april|june|july|august|"
    r"september|october|november|december|x\s?\d|liters?|tablets?|pills?|units?|sets?|reps?|steps?|fingers?(?!\s(?:response|flex|jerk|reflex))|cans?|vessels?)\b",
    re.IGNORECASE,
)
_ATOM = re.compile(
    r"(?P<lead>\+\s?|-(?=\d(?!\s?\+|\d|[\s-]*(?:beats?|bts?)\b)))?(?P<number>\d(?:\.5|½)?)"
    r"(?P<trail>\s?\++|⁺+|\s?plus(?:es)?\b|\s?p(?=[,.; ]|$)|t(?![A-Za-z]))?(?!\d)"
    r"|(?P<signs>\+{1,5})"
    r"|(?P<roman>IV|III|II|I)(?P<rtrail>\+)?(?![A-Za-z])",
)
_SPELLED_ATOM = re.compile(
    r"(?P<one>zero|one|two|three|four|five)(?:\s?(?:-|to|or)\s?(?P<other>one|two|three|four|five))?[\s-]+plus\b",
    re.IGNORECASE,
)
_SPELLED_OUT_OF = re.compile(r"(?P<one>zero|one|two|three|four|five)(?=\s+out\s+of)", re.IGNORECASE)
_RANGE = re.compile(r"\s?(?:[-–—]|to|or)\s?(?=[+\d])")
_OUT_OF = re.compile(
    r"\s?(?:out\s+of|of)\s+(?:a\s+possible\s+)?\+?(?P<n>[45]|IV|V|four|five)\+?(?![\w/])", re.IGNORECASE
)
_COUNTED_RANGE = re.compile(r"\s?(?:to|or|-|–)\s?(?P<high>\+{2,5})(?![\w+/])")
_TO_TRACE = re.compile(r"\s?(?:-|–|to)\s?trace\b", re.IGNORECASE)
_SLASH = re.compile(r"\s?/\s?")
_SIDE_WORD = re.compile(r"(?:trace|tr|absent|nil)\b|[-–](?![\w+])|(?:↓|↑)", re.IGNORECASE)
_NUMBER_WORD = "|".join(_MORE)
_BEATS = re.compile(
    rf"(?:[x×]\s?)?(?P<low>\d{{1,2}}|{_NUMBER_WORD})\+?"
    rf"(?:\s?(?:-|–|to|or)\s?(?P<high>\d{{1,2}}|{_NUMBER_WORD}))?\+?[\s-]*(?:beats?|bts?)\b",
    re.IGNORECASE,
)
_FEW_BEATS = re.compile(r"(?:a\s+)?(?P<low>few|couple(?:\s+of)?|several)\s+beats?\b", re.IGNORECASE)
_REPEAT = re.compile(
    r"[x×]\s?(?P<low>\d{1,2})(?:\s?(?:-|–|to)\s?(?P<high>\d{1,2}))?(?![\w/]|\.\d)", re.IGNORECASE
)
_RUN = re.compile(r"[0-5]\+?(?:/(?:[0-5]\+?|tr|abs)){2,9}(?![\w/+-]|\.\d)")
_MAY_BEGIN = frozenset("0123456789+-–±xX×↑↓")
_VALUED = re.compile(
    r"I|[aA]$|(?i:zero|one|two|tow|three|four|five|six|seven|eight|nine|ten|few|couple|several)"
)
"""Words that a value can begin with."""
_EQUIVOCAL = re.compile(r"\+\s?/\s?-(?![\w+])|±")


def may_begin_value(piece: str) -> bool:
    """Whether a value can begin with a word, number or mark of a note."""
    return piece[0] in _MAY_BEGIN or _VALUED.match(piece) is not None


def written_at(text: str, start: int, named: bool = False) -> tuple[Written | Pair | Count | Run, int] | None:
    """The value written at a place, and the place after it, or None.

    Args:
        text: the note.
        start: a place in it that no word or number runs into from the left.
        named: the name of a reflex runs into it, as in "KJ2+", and that is allowed.
    """
    beats = _beats_at(text, start, named)
    if beats is not None:
        return beats
    before = "" if text[max(0, start - 3) : start] in ("...", "…") else text[max(0, start - 2) : start]
    runs_into = _RUNS_INTO.search(before) and text[start] != "+" and not _SIDE_LETTER.search(before)
    if (runs_into and not named) or (text[start] == "+" and before[-1:].isdigit()):
        return None
    equivocal = _EQUIVOCAL.match(text, start)
    if equivocal:
        return Written(
            descriptor="trace", response="equivocal", polarity="doubtful", uncertain=True
        ), equivocal.end()
    run = _RUN.match(text, start)
    if run:
        parts = [_atom_at(part, 0)[0] or _side_word(part) for part in run[0].split("/")]
        return Run(tuple(parts)), run.end()
    value, end = _range_at(text, start)
    if value is None:
        return _minus_pair(text, start)
    return _with_second(text, value, end)


def _beats_at(text: str, start: int, named: bool) -> tuple[Count, int] | None:
    if start and not named and (text[start - 1].isalnum() or text[start - 1] in "./"):
        return None
    match = _BEATS.match(text, start)
    if match:
        return Count(_span_of_counts(match), repeat=False), match.end()
    match = _FEW_BEATS.match(text, start)
    if match:
        return Count("", repeat=False), match.end()
    match = _REPEAT.match(text, start)
    if match:
        return Count(_span_of_counts(match), repeat=True), match.end()
    return None


def _span_of_counts(match: re.Match[str]) -> str:
    ends = [match["low"], match["high"]]
    numbers = [str(_MORE.get(end.lower(), end)) for end in ends if end]
    return "-".join(numbers)


def _atom_at(text: str, start: int) -> tuple[Written | None, int]:
    counted = _SPELLED_OUT_OF.match(text, start)
    if counted:
        grade = float(_SPELLED[counted["one"].lower()])
        return Written(low=grade, high=grade), counted.end()
    spelled = _SPELLED_ATOM.match(text, start)
    if spelled:
        low = float(_SPELLED[spelled["one"].lower()])
        high = float(_SPELLED[spelled["other"].lower()]) if spelled["other"] else low
        return Written(low=low, high=high, plus="trailing"), spelled.end()
    match = _ATOM.match(text, start)
    if not match:
        return None, start
    if match["signs"]:
        return _plus_signs(match["signs"]), match.end()
    if match["roman"]:
        grade = float(_ROMAN[match["roman"]])
        return Written(
            low=grade, high=grade, plus="trailing" if match["rtrail"] else "none", bare=True
        ), match.end()
    return _numbered(match), match.end()


def _plus_signs(signs: str) -> Written:
    """So many plus signs; one alone may as well say that a sign is there."""
    count = float(len(signs))
    return Written(low=count, high=count, counted=True, polarity="positive" if count == 1 else None)


def _numbered(match: re.Match[str]) -> Written:
    grade = float(match["number"].replace("½", ".5"))
    lead, trail = (match["lead"] or "").strip(), match["trail"]
    if trail and trail.strip() in ("p", "t"):
        trail = "+"
    return Written(
        low=-grade if lead == "-" else grade,
        high=-grade if lead == "-" else grade,
        plus="trailing" if trail else "leading" if lead == "+" else "none",
        bare=not trail and lead != "+",
    )


def _range_at(text: str, start: int) -> tuple[Written | None, int]:
    low, end = _atom_at(text, start)
    if low is None or low.low is None or (low.counted and text[end : end + 1].isdigit()):
        return None, start
    trace = _TO_TRACE.match(text, end)
    if trace:
        return Written(low=0.5, high=low.low, plus=low.plus), trace.end()
    if low.counted:
        return _counted_range(text, low, end)
    between = _RANGE.match(text, end)
    if between:
        high, high_end = _atom_at(text, between.end())
        if high is not None and high.low is not None and not high.counted:
            plus = high.plus if high.plus != "none" else low.plus
            ends = sorted((low.low, abs(high.low) if low.low >= 0 else high.low))
            return Written(low=ends[0], high=ends[1], plus=plus, bare=plus == "none"), high_end
    return low, end


def _counted_range(text: str, low: Written, end: int) -> tuple[Written, int]:
    """As in "+ to ++": a range of plus signs."""
    more = _COUNTED_RANGE.match(text, end)
    if not more:
        return low, end
    return Written(low=low.low, high=float(len(more["high"])), counted=True), more.end()


def _with_second(text: str, value: Written, end: int) -> tuple[Written | Pair, int] | None:
    """Add a denominator or the other side's value, then see that no unit or date follows."""
    out_of = _OUT_OF.match(text, end)
    if out_of:
        return _over(value, _maximum(out_of["n"])), out_of.end()
    slash = _SLASH.match(text, end)
    if slash:
        second = _second_at(text, slash.end())
        if second is not None:
            other, other_end, roman = second
            if _NOT_BEFORE.match(text, other_end) or (roman and not _is_maximum(other)):
                return None
            if roman and value.low is not None:
                return _over(value, int(other.high or 0)), other_end
            return Pair(_plain(value), other), other_end
    if (_is_lone_roman(text, value, end) and not _behind_grade(text, end)) or (
        value.bare and _NOT_BEFORE.match(text, end)
    ):
        return None
    if text[end : end + 1].isalnum() and text[end - 1] != "+":
        return None
    return value, end


def _second_at(text: str, start: int) -> tuple[Written, int, bool] | None:
    word = _SIDE_WORD.match(text, start)
    if word:
        return _side_word(word[0]), word.end(), False
    value, end = _range_at(text, start)
    if value is not None and value.low != value.high and _SLASH.match(text, end):
        value, end = _atom_at(text, start)
    if value is None:
        return None
    return value, end, text[start].isalpha()


def _side_word(word: str) -> Written:
    if word == "↓":
        return Written(response="flexor", descriptor="diminished")
    if word == "↑":
        return Written(response="extensor", descriptor="hyperactive")
    return Written(descriptor="trace" if word.lower() in ("trace", "tr") else "absent")


def _minus_pair(text: str, start: int) -> tuple[Pair, int] | None:
    match = re.compile(r"[-–]\s?/\s?(?P<other>[-–]|\+{1,4})(?![\w+/])").match(text, start)
    if not match:
        return None
    absent = Written(descriptor="absent", counted=True)
    if match["other"] in "-–":
        return Pair(absent, absent), match.end()
    return Pair(absent, _plus_signs(match["other"])), match.end()


PLUS_AND_MINUS = Pair(_plus_signs("+"), Written(descriptor="absent", counted=True))
"""What "+/-" is where the note has said that a slash parts the sides; else it is doubtful."""


def _maximum(text: str) -> int:
    text = text.upper()
    return int(text) if text.isdigit() else _ROMAN.get(text, 4 if text == "FOUR" else 5)


def _over(value: Written, maximum: int) -> Written:
    return Written(low=value.low, high=value.high, plus=value.plus, denominator=maximum)


def _plain(value: Written) -> Written:
    return Written(
        low=value.low, high=value.high, plus=value.plus, counted=value.counted, polarity=value.polarity
    )


def _is_maximum(value: Written) -> bool:
    return value.low in (4, 5)


def _behind_grade(text: str, end: int) -> bool:
    """As in "grade II"."""
    return text[max(0, end - _GRADE_AND_ROMAN) : end].lower().rstrip("iv").endswith("grade ")


def _is_lone_roman(text: str, value: Written, end: int) -> bool:
    return text[end - 1] in "IV" and value.bare
