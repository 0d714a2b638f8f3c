"""Rule: the way a reflex answers: delayed relaxation, pendular, inverted, spread.

An inverted supinator sign is also seen in 27.6 % (75 of 271) of people without symptoms, so it is said with
that figure.
"""

from converter.assess.exam_view import ExamView
from converter.assess.making import Draft, Found, abnormality, label_and_side, side_of
from converter.model import Finding

_CODE = {
    "delayed_relaxation": "delayed-relaxation",
    "pendular": "pendular-reflex",
    "inverted": "inverted-reflex",
    "spread": "reflex-spread",
    "finger_response": "reflex-spread",
}
_IN_WORDS = {
    "delayed-relaxation": "relaxes slowly",
    "pendular-reflex": "pendular",
    "inverted-reflex": "inverted",
    "reflex-spread": "spreads to other muscles",
}


def qualities(view: ExamView) -> Found:
    """One abnormality for each reflex and quality."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in view.findings:
        code = _CODE.get(finding.quality or "")
        if code and not finding.negated:
            groups.setdefault((code, finding.site), []).append(finding)
    return Found(tuple(abnormality(view, _draft(view, *key, groups[key])) for key in sorted(groups)))


def _draft(view: ExamView, code: str, site: str, findings: list[Finding]) -> Draft:
    side = side_of(finding.side for finding in findings)
    inverted = code == "inverted-reflex" and site == "brachioradialis"
    note = " (also seen in 27.6 % of people without symptoms)" if inverted else ""
    return Draft(
        code=code,
        sites=(site,),
        side=side,
        sentence=f"{label_and_side(view, site, side)}: {_IN_WORDS[code]}{note}.",
        rests_on=(finding.finding for finding in findings),
        certain=all(finding.certainty == "stated" for finding in findings),
    )
