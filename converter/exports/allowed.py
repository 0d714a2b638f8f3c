"""What may pass into a de-identified set: names of the vocabulary, numbers in bounds, and nothing else.

Takes a value of a finding and what it should be; gives the value, or None where it is no such thing. A word
of a note passes only where it is wholly one wording for a value that the shipped word lists hold.
"""

import re
from collections.abc import Collection, Mapping
from functools import cached_property

from converter.words import Vocabulary
from converter.words.anatomy import shipped_knowledge
from converter.words.phrases import tokens_of
from converter.words.tables import LEVELS
from converter.words.vocabulary import Word, shipped_vocabulary

_SIDES = frozenset({"left", "right"})
CHOICES: Mapping[str, Collection[str]] = {
    "side": _SIDES | {"both", "unspecified"},
    "kind": {"stretch", "plantar", "clonus", "superficial", "primitive"},
    "grade_basis": {"number", "word"},
    "plus": {"none", "trailing", "leading"},
    "scale_basis": {"legend", "denominator", "site_default", "assumed"},
    "level": LEVELS,
    "response": {"flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute", "absent"},
    "reinforcement": {"only_with", "even_with"},
    "comparison": {
        *("greater_than_other_side", "less_than_other_side", "equal"),
        *("greater_than_before", "less_than_before", "unchanged"),
        *("greater_than_other_limb", "less_than_other_limb"),
    },
    "status": {"current", "historical", "hypothetical", "not_tested", "family"},
    "certainty": {"stated", "uncertain"},
}
"""Fields with few values, and which: those of `model.Finding`."""
REASONS = frozenset({"excepted", "not documented", "side not stated"})
"""Reasons that the program gives; those that a note gives are canonical words of the shipped lists."""
NOTE_KINDS = frozenset(
    {
        *("progress", "progress note", "consult", "consultation", "discharge", "discharge summary"),
        *("history and physical", "emergency", "outpatient", "inpatient", "admission", "follow-up"),
    }
)
SEXES = frozenset({"male", "female", "other", "unknown", "m", "f", "o", "u"})
_BEATS = re.compile(r"\d{1,2}(?:-\d{1,2})?|few|several|couple(?: of)?")
_ROOT = re.compile(r"C[1-8]|T(?:[1-9]|1[0-2])|[LS][1-5]")
_TIME_ROLES = frozenset({"past", "now", "before"})
_VALUE_ROLES = frozenset({"value", "polarity", "condition", "response", "clonus_word", "quality"})
_NUMBER = r"(?:[+\-−–±]?\d(?:\.5|½)?|\+{1,5}|[+\-−–±]?0|i{1,3}|iv|v)[+\-−–]{0,4}"
_OF = r"(?:\s?/\s?[1-9])?"
_GRADES = re.compile(rf"{_NUMBER}{_OF}(?:\s?(?:-|–|to|or)\s?{_NUMBER}{_OF})?|{_NUMBER}\s?/\s?{_NUMBER}", re.I)
"""A grade or range, each with its maximum, or a pair; three numbers with strokes could be a date."""
_COUNT = r"\d{1,2}(?:\s?(?:-|–|to|or)\s?\d{1,2})?"
_COUNTS = re.compile(rf"x\s?{_COUNT}|{_COUNT}\s?(?:beats?|bts?)", re.I)
"""A number alone is no count, since 12-31 could be a date."""
_LONGEST = 40
_LARGEST_GRADE = 10


class Allowed:
    """What may pass, by one vocabulary.

    Names of reflexes, scales and words of a site's own vocabulary pass, since they come from its settings and
    not from a note; `own_names` lists them.
    """

    def __init__(self, vocabulary: Vocabulary) -> None:
        """Look up the names that the vocabulary has."""
        self._vocabulary = vocabulary
        self._meanings: dict[str, set[str]] = {}
        for row in vocabulary.rows:
            self._meanings.setdefault(row.role, set()).add(row.meaning)

    def choice(self, field: str, value: object) -> str | None:
        """A value of a field with few values."""
        return value if isinstance(value, str) and value in CHOICES[field] else None

    def site(self, value: object) -> str | None:
        """A reflex or region."""
        return value if isinstance(value, str) and value in self._vocabulary.reflexes else None

    def scale(self, value: object) -> str | None:
        """A grading scale."""
        return value if isinstance(value, str) and value in self._vocabulary.scales else None

    def descriptor(self, value: object) -> str | None:
        """A canonical word for strength."""
        return value if isinstance(value, str) and value in self._vocabulary.descriptors else None

    def meaning(self, role: str, value: object) -> str | None:
        """A canonical value of a role, e.g. of `manoeuvre`."""
        return value if isinstance(value, str) and value and value in self._meanings.get(role, ()) else None

    def variant(self, site: str, value: object) -> str | None:
        """A variant of a reflex, such as `chaddock`."""
        return (
            value if isinstance(value, str) and f"{site}:{value}" in self._meanings.get("site", ()) else None
        )

    def reinforcement(self, value: object) -> str | None:
        """Whether a reflex came with or despite reinforcement, and by which manoeuvre."""
        return self.choice("reinforcement", value) or self.meaning("reinforcement", value)

    def manoeuvre(self, value: object) -> str | None:
        """A reinforcing manoeuvre."""
        if isinstance(value, str) and value:
            named = {meaning.partition(":")[2] for meaning in self._meanings.get("reinforcement", ())}
            return value if value in named else self.meaning("manoeuvre", value)
        return None

    def label(self, site: str) -> str:
        """How a person would name a reflex that passes."""
        return self._vocabulary.reflexes[site].label

    def root(self, value: object) -> str | None:
        """A nerve root."""
        return value if isinstance(value, str) and _ROOT.fullmatch(value) else None

    def grade(self, value: object) -> float | None:
        """A grade: a whole or half number that a scale could have."""
        if not isinstance(value, int | float) or isinstance(value, bool) or abs(value) > _LARGEST_GRADE:
            return None
        return float(value) if float(value * 2).is_integer() else None

    def denominator(self, value: object) -> int | None:
        """The maximum of a scale as written."""
        known = {scale.denominator for scale in self._vocabulary.scales.values()} - {None}
        return value if isinstance(value, int) and value in known else None

    def beats(self, value: object) -> str | None:
        """A number of beats, or a range."""
        return value if isinstance(value, str) and _BEATS.fullmatch(value) else None

    def reason(self, value: object) -> str | None:
        """Why there is no value, where that is a canonical word; a note's own words are none."""
        if isinstance(value, str) and value in REASONS:
            return value
        return self.meaning("reason", value) or self.meaning("untested", value)

    def time(self, value: object) -> str | None:
        """A time as stated, where it is one shipped wording for the past and holds no number."""
        if not isinstance(value, str) or len(value) > _LONGEST or any(sign.isdigit() for sign in value):
            return None
        found = _whole(value.strip(), _TIME_ROLES)
        return None if found is None or "dated" in found.flags else " ".join(value.lower().split())

    def as_written(self, value: object) -> str | None:
        """A value as written, where it is a grade or beats by its form, or one shipped wording for a value.

        Two wordings beside each other could be anything, even a name, so they do not pass. Capitals do not
        pass either: a word comes out in small letters.
        """
        if not isinstance(value, str) or not 0 < len(value) <= _LONGEST or not value.isprintable():
            return None
        written = value.strip()
        if _GRADES.fullmatch(written) or _COUNTS.fullmatch(written):
            return written
        one, _, other = written.partition("/")
        if one == other:  # "trace/trace": both sides at once
            half = self.as_written(one)
            return None if half is None else f"{half}/{half}"
        return None if _whole(written, _VALUE_ROLES) is None else " ".join(written.lower().split())

    @cached_property
    def own_names(self) -> list[str]:
        """Names of the site's own reflexes, scales and meanings."""
        shipped = shipped_vocabulary()
        meanings = {row.meaning for row in self._vocabulary.rows} - {row.meaning for row in shipped.rows}
        reflexes = self._vocabulary.reflexes.keys() - shipped.reflexes.keys()
        scales = self._vocabulary.scales.keys() - shipped.scales.keys()
        return sorted(meanings | reflexes | scales)


def _whole(written: str, roles: frozenset[str]) -> Word | None:
    """The row of the shipped word lists whose wording is the whole of what is written."""
    tokens = tokens_of(written)
    found = shipped_vocabulary().words.longest(tokens, 0)
    if found is None or found[1] != len(tokens) or found[0].role not in roles:
        return None
    return found[0]


def known_code(code: object) -> str | None:
    """A code of an abnormality."""
    return code if isinstance(code, str) and code in shipped_knowledge().codes else None
