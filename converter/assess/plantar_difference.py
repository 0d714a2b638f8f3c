"""Rule: the plantar response is of one kind on the left and of another on the right.

Common practice, no source.
"""

from converter.assess.exam_view import ExamView
from converter.assess.making import Draft, Found, abnormality
from converter.model import Finding

_KIND = {
    "flexor": "flexor",
    "not_extensor": "flexor",
    "extensor": "extensor",
    "mute": "mute",
    "absent": "mute",
}


def plantar_differences(view: ExamView) -> Found:
    """One difference at most; an equivocal response or a withdrawal is compared with nothing.

    Its side is that of the extensor response, or of the mute one.
    """
    if view.age.holds:
        return Found()
    left, right = _response(view, "left"), _response(view, "right")
    if left is None or right is None or left[0] == right[0]:
        return Found()
    (one, first), (two, second) = left, right
    odd = "extensor" if "extensor" in (one, two) else "mute"
    draft = Draft(
        code="plantar-side-difference",
        sites=("plantar",),
        side="left" if one == odd else "right",
        sentence=f"The plantar response differs: {one} on the left, {two} on the right.",
        rests_on=(first.finding, second.finding),
        certain="extensor" in (one, two) and first.certainty == second.certainty == "stated",
    )
    return Found((abnormality(view, draft),))


def _response(view: ExamView, side: str) -> tuple[str, Finding] | None:
    """The kind of response on one side; None where there is none, or where findings disagree."""
    found = [
        (_kind(f), f) for f in view.findings if f.kind == "plantar" and f.side == side and f.which is None
    ]
    kinds = {kind for kind, _ in found}
    if len(kinds) != 1 or None in kinds:
        return None
    kind, finding = found[0]
    assert kind is not None
    return kind, finding


def _kind(finding: Finding) -> str | None:
    if finding.negated:
        return "flexor" if finding.response == "extensor" else None
    return _KIND.get(finding.response or "")
