"""How old the patient was at the exam, and whether signs of infancy may be normal at that age.

Takes a Note and its findings; gives an age in completed years and the age rule. A partial date of birth that
leaves two ages possible gives the younger one, since the rule protects the young.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from converter.model import Finding, Note

NEONATAL = frozenset(
    [
        "moro",
        "rooting",
        "stepping",
        "galant",
        "atnr",
        "asymmetric_tonic_neck",
        "placing",
        "startle",
        "parachute",
        "palmar_grasp",
        "plantar_grasp",
        "grasp",
        "suck",
        "sucking",
    ]
)
"""Primitive reflexes that are examined in newborns; those of frontal release alone are not among them."""


@dataclass(frozen=True, slots=True)
class AgeRule:
    """Whether upper motor neurone signs are held back, and why.

    Attributes:
        age: completed years, or None where the note does not tell.
        holds: True where no upper motor neurone pattern is reported.
        code: code of the diagnostic that says so, or None.
        reason: the reason in words, or None.
    """

    age: int | None
    holds: bool
    code: str | None = None
    reason: str | None = None


def age_rule(note: Note, findings: Iterable[Finding], infant_age: int) -> AgeRule:
    """The age rule for one exam.

    Under `infant_age` years, or where neonatal reflexes are named and the age is unknown, an extensor
    plantar response, primitive reflexes and brief clonus can be normal (common practice, no source).
    """
    age = age_at(note)
    if age is not None and age < infant_age:
        return AgeRule(age, True, "age-under-limit", f"the patient was under {infant_age} years old")
    named = any(f.kind == "primitive" and f.which in NEONATAL for f in findings)
    if age is None and named:
        return AgeRule(None, True, "age-unknown", "newborn reflexes are named and the age is not known")
    return AgeRule(age, False)


def age_at(note: Note) -> int | None:
    """Completed years at the time of the note, from the given age or the dates; None if not known."""
    if note.age is not None:
        return note.age
    if not note.birth_date or not note.authored:
        return None
    born, written = _parts(note.birth_date), _parts(note.authored)
    if born is None or written is None:
        return None
    years = written[0] - born[0]
    length = min(len(born), len(written))
    had_birthday = length > 1 and written[1:length] >= born[1:length] and (
        length == 3 or written[1] > born[1]
    )  # fmt: skip
    age = years if had_birthday else years - 1
    return age if age >= 0 or years == 0 else None


def _parts(date: str) -> tuple[int, ...] | None:
    """Year, month and day as far as an ISO 8601 date gives them."""
    try:
        return tuple(int(part) for part in date[:10].split("-"))
    except ValueError:
        return None
