"""Rules: reflexes that fade towards the feet, and arms that differ from legs.

Fading towards the feet: the ankle reflex was impaired in 74 % of 312 people with polyneuropathy, specificity
62 % (Abraham 2017, PLoS ONE, PMC5332032). Arms against legs: 1+ to 3+ are normal unless there is a dramatic
difference between arms and legs (Blumenfeld, neuroexam page, video 58).
"""

from collections.abc import Iterable, Sequence

from converter.assess.counted import HIGH, LOW
from converter.assess.exam_view import ExamView
from converter.assess.hpo import DISTAL
from converter.assess.making import SIDE_WORDS, Draft, Found, abnormality, grades, side_of, sorted_sites
from converter.assess.strength import RANK, Strength, compare

_LANES = ("left", "right", "unspecified")


def distal_gradient(view: ExamView) -> Found:
    """The ankle reflex below the reflexes further up, on every side documented and on both."""
    fading = {side: pair for side in _LANES if (pair := _fades(view, side)) is not None}
    ankles = [strength for (site, _), strength in view.strengths.items() if site == "achilles"]
    sided = {"left", "right"} <= set(fading) or "unspecified" in fading
    if not fading or not sided or len(fading) != len(ankles):
        return Found()
    levels = {ankle.level for ankle, _ in fading.values()}
    ankle, upper = next(iter(fading.values()))
    draft = Draft(
        code="distal-reduction",
        sites=sorted_sites(view, {"achilles", upper.site}),
        side=side_of(fading),
        sentence=f"The Achilles reflex is weaker than the {view.name(upper.site)} "
        f"{SIDE_WORDS[side_of(fading)]} ({ankle.short} against {upper.short}).",
        rests_on=(i for pair in fading.values() for strength in pair for i in strength.rests_on),
        level=levels.pop() if len(levels) == 1 else None,
        certain=all(ankle.level == "absent" and ankle.certain for ankle, _ in fading.values()),
        pattern=(DISTAL,),
    )
    return Found((abnormality(view, draft),))


def _fades(view: ExamView, side: str) -> tuple[Strength, Strength] | None:
    """The ankle and the reflex above it that is stronger; None where they do not fade.

    An ankle reflex that is only a grade below the knee reflex may be normal.
    """
    ankle = view.strengths.get(("achilles", side))
    above = _above_the_ankle(view, side)
    if ankle is None or ankle.level not in LOW or above is None or above.level in HIGH:
        return None
    compared = compare(ankle, above, view.mixed, view.knowledge.comparison, view.options.side_difference)
    weaker = compared.outcome == "sure" and compared.weaker == "first"
    by_level = compared.outcome == "unknown" and RANK[ankle.level] < RANK.get(above.level or "", -1)
    enough = ankle.level == "absent" or (compared.size or 0) >= view.options.marked
    return (ankle, above) if enough and (weaker or by_level) else None


def _above_the_ankle(view: ExamView, side: str) -> Strength | None:
    """The knee reflex, or the strongest of the arm where the knee is not documented."""
    knee = view.strengths.get(("patellar", side))
    if knee is not None:
        return knee
    arm = [s for s in _of_limb(view, "upper", side) if s.level is not None]
    return max(arm, key=lambda s: (RANK.get(s.level or "", -1), s.site), default=None)


def arm_leg_difference(view: ExamView) -> Found:
    """Arms and legs differ by the marked number of grades on every side that documents both."""
    lanes = [lane for lane in _LANES if _of_limb(view, "upper", lane) and _of_limb(view, "lower", lane)]
    gaps = [_gap(_of_limb(view, "upper", lane), _of_limb(view, "lower", lane)) for lane in lanes]
    known = [gap for gap in gaps if gap is not None]
    marked = view.options.marked
    weaker_arms = all(gap >= marked for gap in known)
    if not known or len(known) != len(gaps) or not (weaker_arms or all(gap <= -marked for gap in known)):
        return Found()
    used = [s for lane in lanes for kind in ("upper", "lower") for s in _of_limb(view, kind, lane)]
    size = min(abs(gap) for gap in known)
    weaker, stronger = ("arms", "legs") if weaker_arms else ("legs", "arms")
    draft = Draft(
        code="arm-leg-difference",
        sites=sorted_sites(view, (strength.site for strength in used)),
        side=side_of(lanes),
        sentence=f"The reflexes of the {weaker} are weaker than those of the {stronger} "
        f"by at least {grades(size)}.",
        rests_on=(identifier for strength in used for identifier in strength.rests_on),
        size=size,
        certain=all(strength.certain for strength in used),
    )
    return Found((abnormality(view, draft),))


def _of_limb(view: ExamView, kind: str, side: str) -> Sequence[Strength]:
    """The main reflexes of a limb on one side."""
    return [
        strength
        for (site, each), strength in view.strengths.items()
        if each == side and view.limb(site) == kind and view.vocabulary.reflexes[site].main
    ]


def _gap(arms: Iterable[Strength], legs: Iterable[Strength]) -> float | None:
    """Grades by which every leg reflex surely exceeds every arm reflex; negative the other way round."""
    arms, legs = list(arms), list(legs)
    values = [(s.low, s.high, s.scale) for s in (*arms, *legs)]
    if any(low is None for low, _, _ in values) or len({scale for *_, scale in values}) != 1:
        return None
    lowest_leg = min(s.low for s in legs if s.low is not None)
    highest_leg = max(s.high for s in legs if s.high is not None)
    lowest_arm = min(s.low for s in arms if s.low is not None)
    highest_arm = max(s.high for s in arms if s.high is not None)
    if lowest_leg >= highest_arm:
        return lowest_leg - highest_arm
    return -(lowest_arm - highest_leg) if lowest_arm >= highest_leg else 0.0
