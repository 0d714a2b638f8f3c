"""What an exam is silent about, so that "no abnormality found" is only said of what was examined.

Takes an ExamView and all findings of the exam; gives the main reflexes and the plantar response that are not
documented, and everything that the note says was not tested, with its reason.
"""

from collections.abc import Iterable

from converter.assess.exam_view import SIDES, ExamView, Place, says_nothing
from converter.model import Finding, NotExamined
from converter.words import expand

_NOT_DOCUMENTED = "not documented"
_SIDE_NOT_STATED = "side not stated"
_REASONS = {"excepted": "excepted without a value"}


def not_examined(view: ExamView, findings: Iterable[Finding]) -> tuple[NotExamined, ...]:
    """Rows in the order of the reflexes; both sides together where they have one reason."""
    known = [f for f in findings if f.exam == view.exam and f.site in view.vocabulary.reflexes]
    silent = sorted((finding for finding in known if says_nothing(finding)), key=lambda f: f.start)
    untested = _untested(view, silent)
    documented = _documented(view)
    return tuple(
        row for site in view.vocabulary.reflexes for row in _of_site(view, site, documented, untested)
    )


def _of_site(
    view: ExamView, site: str, documented: dict[Place, str], untested: dict[Place, Finding]
) -> list[NotExamined]:
    reflex = view.vocabulary.reflexes[site]
    expected = reflex.main or site == "plantar"
    unsided = (site, "unspecified") in documented
    found = []
    for side in ("left", "right") if reflex.paired else ("unspecified",):
        said, known = untested.get((site, side)), documented.get((site, side))
        if said is not None and known != "direct":
            reason = _REASONS.get(said.reason or "", said.reason) or "not tested"
            found.append(NotExamined(site=site, side=side, reason=reason, finding=said.finding))
        elif known is None and expected and not unsided:
            found.append(NotExamined(site=site, side=side, reason=_NOT_DOCUMENTED))
    if expected and unsided and not found and not _known_on_both_sides(view, site, documented):
        found.append(NotExamined(site=site, side="unspecified", reason=_SIDE_NOT_STATED))
    return _together(found, untested)


def _known_on_both_sides(view: ExamView, site: str, documented: dict[Place, str]) -> bool:
    """Both sides have a value, or the value was given for a whole region, which speaks of both."""
    whole = documented[site, "unspecified"] == "covered"
    return whole or all((site, side) in documented for side in ("left", "right"))


def _together(rows: list[NotExamined], untested: dict[Place, Finding]) -> list[NotExamined]:
    """Left and right as one row where reason and finding are the same; its side as the note says it."""
    if len(rows) != 2 or (rows[0].reason, rows[0].finding) != (rows[1].reason, rows[1].finding):
        return rows
    said = untested.get((rows[0].site, rows[0].side)) if rows[0].finding else None
    side = said.side if said is not None else "both"
    return [NotExamined(site=rows[0].site, side=side, reason=rows[0].reason, finding=rows[0].finding)]


def _documented(view: ExamView) -> dict[Place, str]:
    """Every reflex and side that a finding speaks of: `direct`, or `covered` by a region."""
    places: dict[Place, str] = {}
    for row in expand((f for f in view.findings if not says_nothing(f)), view.vocabulary):
        for side in ("left", "right") if row.side == "both" else (row.side,):
            if places.get((row.site, side)) != "direct":
                places[row.site, side] = row.basis
    return places


def _untested(view: ExamView, findings: Iterable[Finding]) -> dict[Place, Finding]:
    """Reflexes that the note says were not tested; an unsided statement counts for both sides."""
    places: dict[Place, Finding] = {}
    for row in expand(findings, view.vocabulary):
        if not view.vocabulary.reflexes[row.site].covers:
            for side in (row.side,) if row.side != "unspecified" else SIDES:
                places.setdefault((row.site, side), row.finding)
    return places
