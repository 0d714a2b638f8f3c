"""What a written value means for a kind of reflex: a "negative" knee jerk is not a negative Babinski sign.

Takes a draft and the kind of its reflex; gives the fields of the finding that carry the value.
"""

from dataclasses import dataclass

from converter.reading.grammar.parts import Draft
from converter.reading.written import Written

_PRESENT = frozenset({"present", "brisk", "hyperactive", "intact", "trace", "diminished", "abnormal"})


@dataclass(slots=True)
class Meaning:
    """The value fields of a finding."""

    low: float | None = None
    high: float | None = None
    descriptor: str | None = None
    response: str | None = None
    negated: bool = False
    uncertain: bool = False


def meaning_of(draft: Draft, kind: str) -> Meaning:
    """The meaning of a draft's value.

    Args:
        draft: the draft.
        kind: `stretch`, `plantar`, `clonus`, `superficial` or `primitive`.
    """
    value = draft.value or Written(descriptor=draft.implied_value)
    if draft.status == "not_tested" or draft.reason == "excepted":
        return Meaning()
    if kind == "plantar":
        return _plantar(draft, value)
    if kind == "clonus" or draft.target.sign:
        return _sign(draft, value, kind)
    return _strength(draft, value, kind)


def _strength(draft: Draft, value: Written, kind: str) -> Meaning:
    if value.counted and value.low == 1 and kind == "superficial":
        return Meaning(descriptor="present", negated=draft.negated)
    if value.graded:
        return Meaning(low=value.low, high=value.high, negated=draft.negated, uncertain=value.uncertain)
    if value.polarity == "positive":
        return Meaning(descriptor="present", negated=draft.negated)
    if value.polarity == "negative":
        return Meaning(descriptor="absent", uncertain=kind != "superficial")
    if draft.negated and draft.value is not None and value.descriptor == "absent":
        return Meaning(descriptor="present")
    return Meaning(
        descriptor=value.descriptor or draft.target.implied, negated=draft.negated, uncertain=value.uncertain
    )


def _sign(draft: Draft, value: Written, kind: str) -> Meaning:
    if value.graded and value.polarity is None and kind == "stretch" and draft.target.site != "hoffmann":
        return Meaning(low=value.low, high=value.high)
    if draft.target.site == "finger_flexor" and value.descriptor not in (None, "present", "absent"):
        return Meaning(descriptor=value.descriptor, negated=draft.negated)
    if draft.negated and draft.value is not None and value.descriptor == "absent":
        return Meaning(descriptor="present")
    denied = value.descriptor == "absent" or value.polarity == "negative" or value.low == 0
    if kind != "primitive":
        denied = denied or value.descriptor == "normal"
    if denied or (draft.negated and value.descriptor in (None, "present", "absent")):
        return Meaning(descriptor="absent", negated=draft.negated or value.descriptor != "absent" or True)
    if kind == "primitive" and value.descriptor is not None:
        return Meaning(descriptor=value.descriptor, negated=draft.negated)
    if draft.negated and value.descriptor is not None:
        return Meaning(descriptor=value.descriptor, negated=True)
    uncertain = value.polarity == "doubtful" or value.uncertain
    return Meaning(descriptor="present", uncertain=uncertain)


def _plantar(draft: Draft, value: Written) -> Meaning:
    response, negated = _response(draft, value)
    uncertain = draft.details.uncertain or value.uncertain
    if uncertain and response == "extensor":
        response = "equivocal"
    return Meaning(response=response, negated=negated, uncertain=uncertain and response != "equivocal")


def _response(draft: Draft, value: Written) -> tuple[str | None, bool]:
    sign = draft.target.sign
    named_flexor = draft.target.which == "flexor_named"
    if value.response is not None:
        if draft.negated and value.response == "extensor":
            return "not_extensor", True
        return value.response, draft.negated
    if draft.negated or value.polarity == "negative" or value.low == 0:
        return ("not_extensor", True) if sign else ("absent", False)
    if value.descriptor == "absent":
        return ("not_extensor", True) if sign else ("absent", False)
    if value.descriptor == "no response":
        return "absent", False
    if value.descriptor in ("normal", "intact"):
        return "flexor", False
    if value.polarity == "doubtful":
        return "equivocal", False
    if named_flexor:
        return "flexor", False
    if sign and (value.polarity == "positive" or value.descriptor in {*_PRESENT, "symmetric", None}):
        return "extensor", False
    return None, False
