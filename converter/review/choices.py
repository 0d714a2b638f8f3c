"""What a person can choose when correcting or adding a finding: everything the vocabulary knows, in order.

Takes the vocabulary; gives choices as (code, label). A code goes into a form and comes back; what it means
for a finding belongs to `judging`.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from converter.model import Finding
from converter.review.sayings import plain, reflex_words
from converter.words import Vocabulary

Choices = tuple[tuple[str, str], ...]

KIND_NAMES = {
    "stretch": "Muscle stretch reflexes",
    "plantar": "Plantar response",
    "clonus": "Clonus",
    "superficial": "Superficial reflexes",
    "primitive": "Primitive reflexes",
}
_NO_VARIANT = frozenset({"flexor_named"})
_RESPONSES = (
    ("downgoing", "flexor"),
    ("upgoing", "extensor"),
    ("equivocal", ""),
    ("mute", ""),
    ("withdrawal", ""),
    ("absent", ""),
    ("not tested", ""),
)
_CLONUS = (
    ("present", ""),
    ("absent", ""),
    ("x3", "beats"),
    ("sustained", ""),
    ("unsustained", ""),
    ("not tested", ""),
)


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
            group.append(
                ReflexChoice(code, reflex_words(site, which, vocabulary), reflex.kind, reflex.paired)
            )
    return {title: group for title, group in groups.items() if group}


def reflex_code(finding: Finding) -> str:
    """The code of the finding's own reflex."""
    return finding.site if finding.which is None else f"{finding.site}:{finding.which}"


def value_choices(vocabulary: Vocabulary) -> dict[str, Choices]:
    """Values as a note writes them, by kind of reflex: an offer, since any shorthand is understood."""
    grades = vocabulary.scales["bedside"].grades.items()
    bedside = tuple(
        (f"{grade:g}{plus}", meaning.meaning)
        for grade, meaning in grades
        for plus in ("", "+" if grade else None)
        if plus is not None
    )
    words = tuple(
        (word, f"level {one.level}" if one.level else "") for word, one in vocabulary.descriptors.items()
    )
    strengths = (*bedside, *words, ("not tested", ""))
    return {
        "stretch": strengths,
        "superficial": (("present", ""), ("absent", ""), *words, ("not tested", "")),
        "plantar": _RESPONSES,
        "clonus": _CLONUS,
        "primitive": (("present", ""), ("absent", ""), ("not tested", "")),
    }


def scale_choices(vocabulary: Vocabulary) -> Choices:
    """Every scale by its title."""
    return tuple((name, scale.title) for name, scale in vocabulary.scales.items())


def reason_choices(vocabulary: Vocabulary) -> Choices:
    """Every reason for not testing that the word lists know."""
    known = sorted({row.meaning for row in vocabulary.rows if row.role == "reason" and row.meaning})
    return tuple((reason, plain(reason)) for reason in known)


def _variants(vocabulary: Vocabulary) -> dict[str, dict[str, None]]:
    """The variants of each reflex that the word lists name, in order."""
    found: dict[str, dict[str, None]] = {}
    for meaning in _site_meanings(vocabulary):
        site, _, which = meaning.partition(":")
        if which and "=" not in which and which not in _NO_VARIANT:
            found.setdefault(site, {})[which] = None
    return found


def _site_meanings(vocabulary: Vocabulary) -> Iterable[str]:
    return (row.meaning for row in vocabulary.rows if row.role == "site" and row.meaning)
