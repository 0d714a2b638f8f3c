"""Which low and high reflexes count as abnormal.

Takes an ExamView; gives the reduced and the increased reflexes that are abnormal, those of which only one
side is documented, and those that may be normal. Symmetric 1+ to 3+ are not abnormal by themselves:
Blumenfeld, neuroexam page (video 58), "1+, 2+, 3+ normal unless asymmetric"; Walker, Clinical Methods 3rd
ed. ch. 72. Adding a finding elsewhere never takes a reflex out of `reduced` or `increased`.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from converter.assess.exam_view import OTHER, UNEQUAL, ExamView, Place
from converter.assess.signs import Sign
from converter.assess.strength import Strength

_PARTS = ("reduced", "increased", "one_sided", "may_be_normal")
LOW, HIGH = ("absent", "low"), ("high", "clonus")
WEAK_COMPANIONS = frozenset({"hoffmann-sign", "absent-superficial-reflex"})
"""Signs often found in healthy people: Sung & Wang 2001; DeJong (15 % without abdominal reflexes)."""


@dataclass(frozen=True, slots=True)
class Counted:
    """Low and high reflexes of one exam, by whether they are abnormal.

    Attributes:
        reduced: absent or low reflexes that are abnormal, by place.
        increased: increased reflexes that are abnormal, by place.
        one_sided: low or high reflexes of which the other side is not documented.
        may_be_normal: low or high reflexes that both sides share, or whose side is not stated.
        companions: upper motor neurone signs that are present and count at this age.
    """

    reduced: Mapping[Place, Strength]
    increased: Mapping[Place, Strength]
    one_sided: Mapping[Place, Strength]
    may_be_normal: Mapping[Place, Strength]
    companions: tuple[Sign, ...]


def counted_of(view: ExamView) -> Counted:
    """Sort the low and high reflexes of an exam."""
    companions = present_companions(view)
    deviating = {p: s for p, s in view.strengths.items() if s.level in (*LOW, *HIGH)}
    mild = {place: s for place, s in deviating.items() if may_be_normal(s, view)}
    both_ways = _both_ways(view, deviating)
    parts: dict[str, dict[Place, Strength]] = {name: {} for name in _PARTS}
    for place, strength in deviating.items():
        high = strength.level in HIGH
        sign = bool(companions) if high else _sign_in_limb(view, place, companions)
        if place not in mild or both_ways or sign or _differs(view, place) or _has_quality(view, place):
            parts["increased" if high else "reduced"][place] = strength
        elif _one_sided(view, place):
            parts["one_sided"][place] = strength
        else:
            parts["may_be_normal"][place] = strength
    frozen = {name: MappingProxyType(part) for name, part in parts.items()}
    return Counted(companions=companions, **frozen)


def may_be_normal(strength: Strength, view: ExamView) -> bool:
    """Whether a strength is within what may be normal when both sides agree."""
    known = view.knowledge.reflexes.get(strength.site)
    if strength.level == "absent":
        return known is not None and known.may_be_absent
    if strength.level not in ("low", "normal", "high"):
        return False
    if strength.only_reinforced:
        return True
    table = view.knowledge.comparison
    if strength.low is None or strength.high is None:
        return set(strength.words) <= table.may_be_normal_words
    low, high = table.may_be_normal.get(strength.scale or "", (strength.low, strength.high))
    return low <= strength.low and strength.high <= high


def present_companions(view: ExamView) -> tuple[Sign, ...]:
    """Upper motor neurone signs that are present; none where the age rule holds."""
    if view.age.holds:
        return ()
    return tuple(sign for sign in view.signs if sign.present and is_companion(sign))


def is_companion(sign: Sign) -> bool:
    """Whether a sign goes with increased reflexes; of the superficial reflexes only the abdominal ones do."""
    return sign.code != "primitive-reflex" and (
        sign.code != "absent-superficial-reflex" or sign.site == "abdominal"
    )


def _both_ways(view: ExamView, deviating: Mapping[Place, Strength]) -> bool:
    """Low and high limb reflexes in one exam: more than a normal difference between reflexes."""
    levels = {s.level for (site, _), s in deviating.items() if view.limb(site) in ("upper", "lower")}
    return bool(levels & set(LOW)) and bool(levels & set(HIGH))


def _differs(view: ExamView, place: Place) -> bool:
    """The reflex surely differs from the other side, by value or by the examiner's own comparison."""
    site, side = place
    compared = view.compared.get(site)
    if compared is not None and compared.outcome == "sure":
        return True
    sites = {site, *(region for region, reflex in view.vocabulary.reflexes.items() if site in reflex.covers)}
    return side in OTHER and any(
        f.site in sites and f.comparison in UNEQUAL and f.kind == "stretch" and not f.negated
        for f in view.findings
    )


def _sign_in_limb(view: ExamView, place: Place, companions: tuple[Sign, ...]) -> bool:
    """A reduced reflex counts where a sign of the same limbs says that something is abnormal there."""
    return any(view.limb(sign.site) == view.limb(place[0]) for sign in companions)


def _has_quality(view: ExamView, place: Place) -> bool:
    site, side = place
    return any(
        f.quality in ("spread", "inverted") and not f.negated and f.site == site and f.side in (side, "both")
        for f in view.findings
    )


def _one_sided(view: ExamView, place: Place) -> bool:
    site, side = place
    return side in OTHER and (site, OTHER[side]) not in view.strengths
