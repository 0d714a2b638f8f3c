"""The HPO term and clinical modifiers of an abnormality, where HPO has them.

Takes a code, its reflexes, side and level; gives the most specific term of `abnormalities.toml` that holds.
HPO release 2025-01-16.
"""

from dataclasses import dataclass

from converter.words.anatomy import AbnormalityCode, HpoTerm

LEFT, RIGHT, BILATERAL = "HP:0012835", "HP:0012834", "HP:0012832"
GENERALISED, DISTAL, PROXIMAL, SYMMETRIC = "HP:0012837", "HP:0012839", "HP:0012840", "HP:6000857"
_OF_SIDE = {"left": (LEFT,), "right": (RIGHT,), "both": (BILATERAL,)}


@dataclass(frozen=True, slots=True)
class About:
    """What an abnormality is about, as far as HPO can say it.

    Attributes:
        keys: what its reflexes can be called in the table, most specific first: `achilles`, `limb:lower`.
        side: its side.
        level: its level, or None.
        descriptor: the examiner's word, or None.
        pattern: modifiers of the pattern, e.g. generalised.
    """

    keys: tuple[str, ...]
    side: str
    level: str | None = None
    descriptor: str | None = None
    pattern: tuple[str, ...] = ()


def hpo_term(code: AbnormalityCode, about: About) -> HpoTerm | None:
    """The most specific term, or None where HPO has none."""
    for key in (*about.keys, "*"):
        for term in code.hpo:
            if term.site == key and _holds(term, about):
                return term
    return None


def modifiers(about: About) -> tuple[str, ...]:
    """Clinical modifiers for side and pattern."""
    return (*_OF_SIDE.get(about.side, ()), *about.pattern)


def _holds(term: HpoTerm, about: About) -> bool:
    return (term.level is None or term.level == about.level) and (
        term.descriptor is None or term.descriptor == about.descriptor
    )
