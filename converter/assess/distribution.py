"""Rule: where in the body the reduced, and where the increased reflexes are.

It rests on reflexes that count as abnormal and speaks of what was examined. More findings can widen a
pattern, never narrow it. Common practice, no source.
"""

from collections.abc import Mapping, Sequence

from converter.assess.counted import counted_of
from converter.assess.exam_view import ExamView, Place
from converter.assess.hpo import GENERALISED
from converter.assess.making import (
    SIDE_WORDS,
    Draft,
    Found,
    abnormality,
    caution,
    listed,
    named,
    side_of,
    sorted_sites,
    start_upper,
)
from converter.assess.strength import Strength
from converter.model import Diagnostic

Limb = tuple[str, str]
_LIMBS: tuple[Limb, ...] = (("upper", "left"), ("upper", "right"), ("lower", "left"), ("lower", "right"))
_LIMB_WORDS = {"upper": "arm", "lower": "leg"}


def distribution(view: ExamView) -> Found:
    """One pattern for the reduced and one for the increased reflexes."""
    counted = counted_of(view)
    drafts, diagnostics = [], []
    for direction, places in (("reduced", counted.reduced), ("increased", counted.increased)):
        of_limbs = {place: s for place, s in places.items() if view.limb(place[0]) in _LIMB_WORDS}
        if of_limbs and _side_unknown(of_limbs):
            diagnostics.append(_no_side(view, direction, of_limbs))
        elif of_limbs:
            drafts.append(_draft(view, direction, of_limbs))
    lone = [strength for place, strength in counted.one_sided.items() if view.limb(place[0]) in _LIMB_WORDS]
    if lone:
        diagnostics.append(_one_sided(view, lone))
    return Found(tuple(abnormality(view, draft) for draft in drafts), tuple(diagnostics))


def pattern_of(limbs: set[Limb], reflexes: int) -> tuple[str, str | None]:
    """The pattern of some limbs and its HPO region, e.g. (`both-legs`, `legs`)."""
    kinds, sides = {kind for kind, _ in limbs}, {side for _, side in limbs}
    if len(limbs) == 1:
        region = "arms" if kinds == {"upper"} else "legs"
        return ("single-reflex", None) if reflexes == 1 else ("one-limb", region)
    if len(limbs) == 4:
        return "generalised", "all"
    if len(limbs) == 2 and len(sides) == 1:
        return "one-side", "side"
    if len(limbs) == 2 and len(kinds) == 1:
        return ("both-arms", "arms") if kinds == {"upper"} else ("both-legs", "legs")
    return "scattered", None


def _side_unknown(places: Mapping[Place, Strength]) -> bool:
    """Some value has no side and was not given for a whole region, so the limb is not known."""
    return any(side == "unspecified" and not strength.region for (_, side), strength in places.items())


def _limbs(view: ExamView, places: Mapping[Place, Strength]) -> set[Limb]:
    """The limbs concerned; a region without a side speaks of both."""
    return {
        (view.limb(site) or "", each)
        for site, side in places
        for each in (("left", "right") if side == "unspecified" else (side,))
    }


def _draft(view: ExamView, direction: str, places: Mapping[Place, Strength]) -> Draft:
    limbs = _limbs(view, places)
    reflexes = sum(2 if side == "unspecified" else 1 for _, side in places)
    pattern, region = pattern_of(limbs, reflexes)
    silent = [limb for limb in _LIMBS if limb not in _limbs(view, view.strengths)]
    levels = {strength.level for strength in places.values()}
    side = side_of(limb_side for _, limb_side in limbs)
    missing = f" ({_silent_in_words(silent)} not documented)" if silent else ""
    return Draft(
        code=f"{direction}-{pattern}",
        sites=sorted_sites(view, (site for site, _ in places)),
        side=side,
        sentence=f"{start_upper(direction)} {_where(pattern, limbs, side)}: "
        f"{named(view, (site for site, _ in places))}{missing}.",
        rests_on=(identifier for strength in places.values() for identifier in strength.rests_on),
        level=levels.pop() if len(levels) == 1 else None,
        certain=not silent and all(strength.certain for strength in places.values()),
        region=region,
        hpo_level="partly" if _absent_in_part(view, places, limbs) else None,
        pattern=(GENERALISED,) if pattern == "generalised" else (),
    )


def _where(pattern: str, limbs: set[Limb], side: str) -> str:
    one = _LIMB_WORDS[next(iter(limbs))[0]]
    each = listed([f"the {limb_side} {_LIMB_WORDS[kind]}" for kind, limb_side in sorted(limbs)])
    return {
        "single-reflex": f"in one reflex {SIDE_WORDS[side]}",
        "one-limb": f"in one limb, the {side} {one}",
        "one-side": f"in arm and leg {SIDE_WORDS[side]}",
        "both-arms": "in both arms",
        "both-legs": "in both legs",
        "generalised": "in all limbs",
        "scattered": f"in {each}",
    }[pattern]


def _absent_in_part(view: ExamView, places: Mapping[Place, Strength], limbs: set[Limb]) -> bool:
    """Only some main reflexes of the limbs are absent, so no term for a whole limb's areflexia holds."""
    wanted = [
        (site, side)
        for kind, side in limbs
        for site, reflex in view.vocabulary.reflexes.items()
        if reflex.main and reflex.limb == kind
    ]
    found = [places.get(place) or places.get((place[0], "unspecified")) for place in wanted]
    absent = [strength is not None and strength.level == "absent" for strength in found]
    return any(absent) and not all(absent)


def _silent_in_words(limbs: Sequence[Limb]) -> str:
    return listed([f"{side} {_LIMB_WORDS[kind]}" for kind, side in limbs])


def _no_side(view: ExamView, direction: str, places: Mapping[Place, Strength]) -> Diagnostic:
    unsided = [finding for (_, side), s in places.items() if side == "unspecified" for finding in s.findings]
    return caution(
        "side-not-stated",
        f"The distribution of the {direction} reflexes cannot be told, since a side is not stated",
        unsided,
    )


def _one_sided(view: ExamView, lone: Sequence[Strength]) -> Diagnostic:
    """Reflexes of which one side alone is documented take no part, since the other may be the same."""
    return caution(
        "one-side-documented",
        f"The {named(view, (s.site for s in lone))} took no part in the distribution, "
        "since the other side is not documented",
        [finding for strength in lone for finding in strength.findings],
    )
