"""Which reflexes and sides a finding speaks of: a view, never a change to what was said.

Takes the findings of a note as said; gives one row for each reflex and side, marked direct or covered.
"""

from collections.abc import Iterable
from typing import NamedTuple, TypeAlias

from converter.model import Finding
from converter.words.vocabulary import Vocabulary

_AGAINST = frozenset(
    f"{more}_than_{other}" for more in ("greater", "less") for other in ("other_side", "other_limb", "before")
)
_SIDES = {"both": ("left", "right")}
_Reached: TypeAlias = tuple[Finding, int, tuple[str, ...]]
"""A finding, of how many reflexes it speaks, and of which."""
_Spoken: TypeAlias = dict[tuple[int, str, str, str], int]
"""For an exam, status, reflex and side: of how many reflexes the narrowest statement about it speaks."""


class Covered(NamedTuple):
    """A finding seen from one reflex on one side.

    Attributes:
        finding: the finding as said.
        site: the reflex it speaks of here.
        side: `left`, `right` or `unspecified`; `both` is told apart into its two sides.
        basis: `direct` where the note names this reflex, `covered` where it names a region that includes it.
    """

    finding: Finding
    site: str
    side: str
    basis: str


def expand(findings: Iterable[Finding], vocabulary: Vocabulary) -> tuple[Covered, ...]:
    """Spread findings over the reflexes and sides they speak of.

    A region covers its reflexes except where the same exam says something narrower of one, with the same
    status: "2+ throughout, absent at the left ankle" covers nine reflexes. A statement about the arms is
    narrower than one about all limbs. A statement without a side on the same reflex counts for both sides.
    A reflex that was not tested is not covered either; one that is only compared, described or denied a
    degree of strength still is, since its own value is not said.
    A finding that names no site and no region covers nothing beyond itself.

    Args:
        findings: findings of one note.
        vocabulary: says which reflexes a region covers.

    Returns:
        Rows in the order of the findings; a region's rows in the order of its `covers` list.
    """
    reached = [(finding, *_reach(finding, vocabulary)) for finding in findings]
    spoken = _spoken(reached) if any(breadth > 1 for _, breadth, _ in reached) else {}
    rows: list[Covered] = []
    for each in reached:
        rows += _rows(*each, spoken)
    return tuple(rows)


def _spoken(reached: Iterable[_Reached]) -> _Spoken:
    spoken: _Spoken = {}
    for finding, breadth, reflexes in sorted(reached, key=lambda each: each[1]):  # the narrowest comes first
        if not _says_how_strong(finding):
            continue
        exam = finding.exam
        status = "current" if finding.status == "not_tested" else finding.status
        for side in _sides_that_count(finding.side):
            for reflex in reflexes:
                spoken.setdefault((exam, status, reflex, side), breadth)
    return spoken


def _rows(finding: Finding, breadth: int, reflexes: tuple[str, ...], spoken: _Spoken) -> list[Covered]:
    sides = _SIDES.get(finding.side, (finding.side,))
    rows = [Covered(finding, finding.site, side, "direct") for side in sides]
    if breadth > 1:
        exam, status = finding.exam, finding.status
        rows += [
            Covered(finding, reflex, side, "covered")
            for reflex in reflexes
            for side in sides
            if spoken.get((exam, status, reflex, side), breadth) >= breadth
        ]
    return rows


def _says_how_strong(finding: Finding) -> bool:
    """Whether a finding takes its reflex out of what a region covers."""
    if finding.status == "not_tested" or finding.reason is not None:
        return True
    valued = finding.grade_low is not None or finding.descriptor is not None or finding.response is not None
    return valued and not finding.negated and finding.comparison not in _AGAINST


def _reach(finding: Finding, vocabulary: Vocabulary) -> tuple[int, tuple[str, ...]]:
    """How many reflexes a finding speaks of, and which: the fewer, the narrower."""
    covers = vocabulary.reflexes[finding.site].covers
    return (len(covers), covers) if covers else (1, (finding.site,))


def _sides_that_count(side: str) -> tuple[str, ...]:
    """The sides that a statement counts for; a row without a side yields only to a statement about both."""
    return ("left", "right", "unspecified") if side in ("both", "unspecified") else (side,)
