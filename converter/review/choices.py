"""What a person can choose when correcting or adding a finding: everything the vocabulary knows, in order.

Takes the vocabulary; gives choices as (code, label), grouped. A code goes into a form and comes back; what it
means for a finding belongs to `correcting`.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from converter.model import Finding
from converter.review.sayings import RESPONSES, grade_words, plain, reflex_words
from converter.words import Vocabulary

Choices = tuple[tuple[str, str], ...]

KIND_NAMES = {
    "stretch": "Muscle stretch reflexes",
    "plantar": "Plantar response",
    "clonus": "Clonus",
    "superficial": "Superficial reflexes",
    "primitive": "Primitive reflexes",
}
NO_VALUE = "none"
SIGN_WORDS = ("present", "absent")
_NOT_A_VALUE = frozenset({"flexor_named"})


@dataclass(frozen=True, slots=True)
class ReflexChoice:
    """A reflex that can be chosen.

    Attributes:
        code: `site`, or `site:which` for a variant.
        label: as a person would name it.
        kind: decides which values fit.
        paired: whether it has sides.
    """

    code: str
    label: str
    kind: str
    paired: bool


@dataclass(frozen=True, slots=True)
class ValueGroup:
    """Values of one sort.

    Attributes:
        title: what they are.
        kinds: the kinds of reflex they fit.
        choices: the values.
    """

    title: str
    kinds: tuple[str, ...]
    choices: Choices


def reflex_choices(vocabulary: Vocabulary, also: Finding | None = None) -> dict[str, list[ReflexChoice]]:
    """Every reflex and region by the title of its kind, in the order of the vocabulary.

    Args:
        vocabulary: names the reflexes, and in its word lists their variants.
        also: a finding whose reflex can be chosen even where the vocabulary does not have it any more.
    """
    variants = _variants(vocabulary)
    if also is not None and also.which:
        variants.setdefault(also.site, {})[also.which] = None
    groups: dict[str, list[ReflexChoice]] = {title: [] for title in KIND_NAMES.values()}
    for site, reflex in vocabulary.reflexes.items():
        group = groups[KIND_NAMES[reflex.kind]]
        for which in (None, *variants.get(site, ())):
            code = site if which is None else f"{site}:{which}"
            group.append(ReflexChoice(code, reflex_words(site, which, vocabulary), reflex.kind, reflex.paired))
    return {title: group for title, group in groups.items() if group}


def reflex_code(finding: Finding) -> str:
    """The code of the finding's own reflex."""
    return finding.site if finding.which is None else f"{finding.site}:{finding.which}"


def value_groups(vocabulary: Vocabulary) -> tuple[ValueGroup, ...]:
    """Every value, grouped by sort."""
    words = tuple((f"word:{word}", plain(word)) for word in vocabulary.descriptors)
    signs = tuple((f"word:{word}", plain(word)) for word in SIGN_WORDS)
    graded = ("stretch", "superficial")
    return (
        ValueGroup("Grade", graded, _grades(vocabulary)),
        ValueGroup("Word for the strength", graded, words),
        ValueGroup("Present or absent", ("clonus", "primitive"), signs),
        ValueGroup("Response", ("plantar",), tuple((f"response:{r}", label) for r, label in RESPONSES.items())),
        ValueGroup("No value", tuple(KIND_NAMES), ((NO_VALUE, "no value of its own"),)),
    )


def value_code(finding: Finding) -> str:
    """The code of the finding's own value; of a range, of its lower end."""
    if finding.grade_low is not None:
        return f"grade:{finding.grade_low:g}"
    if finding.response is not None:
        return f"response:{finding.response}"
    return f"word:{finding.descriptor}" if finding.descriptor else NO_VALUE


def scale_choices(vocabulary: Vocabulary) -> Choices:
    """Every scale by its title."""
    return tuple((name, scale.title) for name, scale in vocabulary.scales.items())


def reason_choices(vocabulary: Vocabulary) -> Choices:
    """Every reason for not testing that the word lists know."""
    known = sorted({row.meaning for row in vocabulary.rows if row.role == "reason" and row.meaning})
    return tuple((reason, plain(reason)) for reason in known)


def _grades(vocabulary: Vocabulary) -> Choices:
    """Every grade of every scale and the half steps between, from 0 up, then those below 0."""
    whole = {grade for scale in vocabulary.scales.values() for grade in scale.grades}
    halves = {grade + 0.5 for grade in whole if grade + 1 in whole}
    ordered = sorted(whole | halves, key=lambda grade: (grade < 0, abs(grade)))
    return tuple((f"grade:{grade:g}", grade_words(grade, grade)) for grade in ordered)


def _variants(vocabulary: Vocabulary) -> dict[str, dict[str, None]]:
    """The variants of each reflex that the word lists name, in order."""
    found: dict[str, dict[str, None]] = {}
    for meaning in _site_meanings(vocabulary):
        site, _, which = meaning.partition(":")
        if which and "=" not in which and which not in _NOT_A_VALUE:
            found.setdefault(site, {})[which] = None
    return found


def _site_meanings(vocabulary: Vocabulary) -> Iterable[str]:
    return (row.meaning for row in vocabulary.rows if row.role == "site" and row.meaning)


def labels(choices: Choices) -> Mapping[str, str]:
    """The choices by their code."""
    return dict(choices)
