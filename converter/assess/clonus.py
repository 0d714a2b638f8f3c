"""Rule: clonus.

One or two beats may be normal (Reider, The Orthopaedic Physical Examination); HPO calls five or more abnormal
(release 2025-01-16, comment on HP:0002169). Between the two it is reported as uncertain.
"""

from collections.abc import Iterable

from converter.assess.exam_view import ExamView
from converter.assess.making import Draft, Found, abnormality, caution, label_and_side, listed, side_of
from converter.assess.signs import Sign
from converter.model import Diagnostic


def clonus(view: ExamView) -> Found:
    """One abnormality for each joint and kind of clonus; brief clonus is a diagnostic."""
    present = [
        sign for sign in view.signs if sign.code == "clonus" and sign.present and not _held_back(view, sign)
    ]
    groups: dict[tuple[str, str | None, bool], list[Sign]] = {}
    for sign in present:
        groups.setdefault((sign.site, sign.remark, sign.certain), []).append(sign)
    found = tuple(abnormality(view, _draft(view, groups[key])) for key in sorted(groups, key=str))
    return Found(found, tuple(_brief(view)))


def _held_back(view: ExamView, sign: Sign) -> bool:
    return view.age.holds and sign.remark != "sustained"


def _draft(view: ExamView, signs: list[Sign]) -> Draft:
    first = signs[0]
    side = side_of(sign.side for sign in signs)
    beats = listed(list(dict.fromkeys(sign.finding.beats for sign in signs if sign.finding.beats)))
    doubt = {
        "thresholds": "; published thresholds differ (more than 2 beats, 5 beats or more)",
        "not sustained": "; it does not last and its beats are not stated",
        "beats not stated": "; its beats are not stated",
        "sustained": ", sustained",
    }.get(first.remark or "", "")
    return Draft(
        code="clonus",
        sites=(first.site,),
        side=side,
        sentence=f"{label_and_side(view, first.site, side)}{f', {beats} beats' if beats else ''}{doubt}.",
        rests_on=(sign.finding.finding for sign in signs),
        level="clonus",
        certain=first.certain,
        which=None if first.certain else "uncertain",
    )


def _brief(view: ExamView) -> Iterable[Diagnostic]:
    brief = [sign.finding for sign in view.signs if sign.code == "clonus" and sign.remark == "brief"]
    if brief:
        yield caution(
            "brief-clonus",
            f"Clonus of no more than {view.options.brief_clonus_beats} beats may be normal "
            "and is not called abnormal",
            brief,
        )
