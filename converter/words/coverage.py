"""Which reflexes and sides a finding speaks of: a view, never a change to what was said.

Takes the findings of a note as said; gives one row for each reflex and side, marked direct or covered.
"""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from converter.model import Finding
from converter.words.vocabulary import Vocabulary

_AGAINST = frozenset(
    f"{more}_than_{other}" for more in ("greater", "less") for other in ("other_side", "other_limb", "before")
)
_SIDES = {"both": ("left", "right")}


@dataclass(frozen=True, slots=True)
class Covered:
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
    findings = tuple(findings)
    spoken: dict[tuple[int, str, str], dict[str, int]] = defaultdict(dict)
    for finding in (each for each in findings if _says_how_strong(each)):
        breadth, reflexes = _reach(finding, vocabulary)
        status = "current" if finding.status == "not_tested" else finding.status
        for reflex in reflexes:
            for side in _sides_that_count(finding.side):
                key = (finding.exam, status, reflex)
                spoken[key][side] = min(breadth, spoken[key].get(side, breadth))
    return tuple(row for finding in findings for row in _rows(finding, spoken, vocabulary))


def _rows(
    finding: Finding, spoken: dict[tuple[int, str, str], dict[str, int]], vocabulary: Vocabulary
) -> Iterable[Covered]:
    breadth, reflexes = _reach(finding, vocabulary)
    sides = _SIDES.get(finding.side, (finding.side,))
    if breadth <= 1:
        return [Covered(finding, finding.site, side, "direct") for side in sides]
    rows = [
        Covered(finding, reflex, side, "covered")
        for reflex in reflexes
        for side in sides
        if _narrowest(spoken[(finding.exam, finding.status, reflex)], side) >= breadth
    ]
    return [Covered(finding, finding.site, side, "direct") for side in sides] + rows


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
    return ("left", "right", "unspecified") if side in ("both", "unspecified") else (side,)


def _narrowest(by_side: dict[str, int], side: str) -> int:
    """The narrowest statement about a side; an unsided row yields only to one about both sides."""
    return by_side.get(side, 99)
