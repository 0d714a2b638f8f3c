"""Signs that are present or absent rather than graded: plantar, Hoffmann, clonus, superficial, primitive.

Takes findings; gives one Sign for each sign and side, with whether it is present. Leaves what they mean
together to `motor_neurone`.
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from converter.assess.options import AssessOptions
from converter.model import Finding

COMPANION_NAMES = {
    "extensor-plantar": "extensor plantar response",
    "hoffmann-sign": "Hoffmann sign",
    "clonus": "clonus",
    "crossed-adductor-response": "crossed adductor response",
    "increased-jaw-jerk": "brisk jaw jerk",
    "absent-superficial-reflex": "absent abdominal reflexes",
}
"""Signs that go with increased reflexes, by code, and how a person would name them."""

_NUMBERS = re.compile(r"\d+")
_SIGN_OF_SITE = {"hoffmann": "hoffmann-sign", "crossed_adductor": "crossed-adductor-response"}
_PLANTAR_PRESENT = {"extensor": True, "flexor": False, "not_extensor": False}


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign on one side.

    Attributes:
        code: code of the abnormality it is when present.
        site: the reflex it was read from.
        which: the variant or quadrant, or None.
        side: `left`, `right`, `both` or `unspecified`, as said.
        present: True, False, or None where the note leaves it open.
        certain: stated without doubt, and beyond what may be normal.
        remark: what is doubtful or particular about it, or None.
        finding: the finding it rests on.
    """

    code: str
    site: str
    which: str | None
    side: str
    present: bool | None
    certain: bool
    remark: str | None
    finding: Finding


def signs_of(findings: Iterable[Finding], options: AssessOptions) -> tuple[Sign, ...]:
    """Every sign that the findings speak of, in their order."""
    return tuple(sign for finding in findings for sign in [_sign(finding, options)] if sign is not None)


def _sign(finding: Finding, options: AssessOptions) -> Sign | None:
    if finding.kind == "clonus":
        return _clonus(finding, options)
    if finding.kind == "plantar":
        return _made(finding, "extensor-plantar", _plantar_present(finding))
    if finding.kind == "superficial":
        shown = _shown(finding)
        return _made(finding, "absent-superficial-reflex", None if shown is None else not shown)
    if finding.kind == "primitive":
        return _made(finding, "primitive-reflex", _shown(finding))
    if finding.site == "jaw":
        return _made(finding, "increased-jaw-jerk", _jaw_increased(finding))
    if finding.site in _SIGN_OF_SITE:
        return _made(finding, _SIGN_OF_SITE[finding.site], _shown(finding))
    return None


def _made(finding: Finding, code: str, present: bool | None) -> Sign:
    return Sign(
        code=code,
        site=finding.site,
        which=finding.which,
        side=finding.side,
        present=present,
        certain=finding.certainty == "stated",
        remark=None,
        finding=finding,
    )


def _plantar_present(finding: Finding) -> bool | None:
    if finding.negated:
        return False if finding.response in (None, "extensor") else None
    if finding.response is not None:
        return _PLANTAR_PRESENT.get(finding.response)
    return _shown(finding) if finding.which else None


def _jaw_increased(finding: Finding) -> bool | None:
    if finding.negated:
        return False if finding.level in ("high", "clonus", None) else None
    return None if finding.level is None else finding.level in ("high", "clonus")


def _shown(finding: Finding) -> bool | None:
    """Whether a response was seen at all; None where the note gives no value."""
    if finding.negated:
        return False
    if finding.level is not None and finding.grade_basis is not None:
        return finding.level != "absent" and not _normal_sign(finding)
    if finding.descriptor is None:
        return None
    return finding.descriptor != "absent" and not _normal_sign(finding)


def _normal_sign(finding: Finding) -> bool:
    """A sign that is called normal is a sign that was not there; a superficial reflex called normal was."""
    return finding.kind != "superficial" and finding.descriptor in ("normal", "intact")


def _clonus(finding: Finding, options: AssessOptions) -> Sign:
    beats = [int(number) for number in _NUMBERS.findall(finding.beats or "")]
    present: bool | None = True
    certain, remark = True, None
    if finding.negated and finding.sustained:
        present, remark = None, "sustained clonus denied"
    elif finding.negated or finding.descriptor == "absent" or finding.level == "absent" or beats == [0]:
        present = False
    elif finding.sustained:
        remark = "sustained"
    elif beats and max(beats) <= options.brief_clonus_beats:
        present, remark = False, "brief"
    elif beats and min(beats) < options.abnormal_clonus_beats:
        certain, remark = False, "thresholds"
    elif finding.sustained is False and not beats:
        certain, remark = False, "not sustained"
    elif not beats:
        remark = "beats not stated"
    return Sign(
        code="clonus",
        site=finding.site,
        which=finding.which,
        side=finding.side,
        present=present,
        certain=certain and finding.certainty == "stated",
        remark=remark,
        finding=finding,
    )
