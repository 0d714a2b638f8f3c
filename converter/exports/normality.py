"""Which reflexes of an exam were tested and found normal on both sides, with nothing said against it.

Takes the findings of one exam and the vocabulary; gives the names of reflexes with the findings they rest on.
Silence, doubt, a side that is not stated and a reflex that was not tested are never normal.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping

from converter.model import Finding
from converter.words import Vocabulary, expand
from converter.words.coverage import Covered

_MIDLINE = frozenset({"glabellar", "snout", "suck"})
"""Primitive reflexes without a left and a right; common practice, no source."""
_SAYS_LITTLE = frozenset({"symmetric"})
_NO_CLONUS = frozenset({"0", "0-0"})


def normal_reflexes(
    findings: Iterable[Finding], vocabulary: Vocabulary, *, covered: bool = False
) -> Mapping[str, tuple[Finding, ...]]:
    """The reflexes that are normal on both sides, each with the findings that say so.

    A name is that of the reflex, or `plantar:chaddock` for a variant and `primitive:snout` for a primitive
    reflex. Signs are normal where they are absent, superficial reflexes where they are present.

    Args:
        findings: of one exam, all of them.
        vocabulary: says which reflexes a region covers.
        covered: whether a reflex that only a region names counts as tested.
    """
    said: dict[str, list[Covered]] = defaultdict(list)
    for row in expand(_known(findings, vocabulary), vocabulary):
        if not vocabulary.reflexes[row.site].covers and not row.site.endswith("unspecified"):
            said[_name(row)].append(row)
    return {
        name: tuple(dict.fromkeys(row.finding for row in rows))
        for name, rows in said.items()
        if _all_normal(rows) and _both_sides(name, rows, vocabulary, covered=covered)
    }


def _known(findings: Iterable[Finding], vocabulary: Vocabulary) -> list[Finding]:
    """Findings of the patient at this exam, also those that only say that nothing was tested."""
    return [
        finding
        for finding in findings
        if finding.site in vocabulary.reflexes and finding.status in ("current", "not_tested")
    ]


def _name(row: Covered) -> str:
    which = row.finding.which if row.site == row.finding.site else None
    return f"{row.site}:{which}" if which and row.site in ("plantar", "primitive") else row.site


def _all_normal(rows: Iterable[Covered]) -> bool:
    return all(_normal(row.finding) or _adds_nothing(row.finding) for row in rows)


def _both_sides(name: str, rows: Iterable[Covered], vocabulary: Vocabulary, *, covered: bool) -> bool:
    sides = {
        row.side for row in rows if (covered or row.basis == "direct") and not _adds_nothing(row.finding)
    }
    site, _, which = name.partition(":")
    if not vocabulary.reflexes[site].paired or which in _MIDLINE:
        return bool(sides)
    return {"left", "right"} <= sides


def _adds_nothing(finding: Finding) -> bool:
    """Whether a finding only says that the sides agree."""
    if finding.status != "current" or finding.negated or finding.grade_low is not None:
        return False
    said_equal = finding.descriptor is None and finding.comparison == "equal"
    return finding.descriptor in _SAYS_LITTLE or said_equal


def _normal(finding: Finding) -> bool:
    if finding.status != "current" or finding.certainty != "stated" or finding.reason is not None:
        return False
    if finding.quality is not None or finding.comparison not in (None, "equal", "unchanged"):
        return False
    if finding.kind == "plantar":
        return _plantar_normal(finding)
    if finding.kind == "clonus":
        return _denied(finding) or finding.beats in _NO_CLONUS
    if finding.kind == "primitive" or finding.site in ("hoffmann", "crossed_adductor"):
        return _denied(finding)
    if finding.reinforcement == "only_with" or finding.negated or finding.which is not None:
        return False
    if finding.kind == "superficial":
        return finding.level == "normal" or finding.descriptor in ("present", "normal", "intact")
    return finding.level == "normal"


def _plantar_normal(finding: Finding) -> bool:
    """A flexor response, or an extensor one denied; for a variant also the sign denied."""
    if finding.negated:
        return finding.response in (None, "extensor", "not_extensor")
    return finding.response in ("flexor", "not_extensor")


def _denied(finding: Finding) -> bool:
    if finding.sustained is not None:  # "no sustained clonus" denies only that it lasts
        return False
    return finding.negated or finding.descriptor == "absent" or finding.level == "absent"
