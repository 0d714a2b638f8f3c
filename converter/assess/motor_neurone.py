"""Rules: upper motor neurone signs, and increased reflexes with or without them.

The pattern speaks of signs that go together, never of a lesion: increased reflexes without companions are
found in Guillain-Barré syndrome too (JNNP 2020;91(3):278). A Hoffmann sign or absent abdominal reflexes
alone leave the pattern uncertain, since both are found in healthy people.
"""

from collections.abc import Iterable, Mapping

from converter.assess.counted import WEAK_COMPANIONS, Counted, counted_of, is_companion
from converter.assess.exam_view import ExamView, Place
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
)
from converter.assess.signs import COMPANION_NAMES, Sign
from converter.assess.strength import Strength
from converter.model import Diagnostic

_NORMAL_IN_INFANCY = frozenset({"extensor-plantar", "primitive-reflex", "clonus"})
_SENTENCE = {
    "extensor-plantar": "Extensor plantar response",
    "hoffmann-sign": "Hoffmann sign",
    "crossed-adductor-response": "Crossed adductor response",
    "increased-jaw-jerk": "Increased jaw jerk",
    "absent-superficial-reflex": "Absent",
    "primitive-reflex": "Primitive reflex",
}


def motor_neurone_signs(view: ExamView) -> Found:
    """One abnormality for each sign that is present, both sides together; clonus has a rule of its own."""
    groups: dict[tuple[str, str, str, bool], list[Sign]] = {}
    for sign in view.signs:
        held = view.age.holds and sign.code in _NORMAL_IN_INFANCY
        if sign.present and sign.code != "clonus" and not held:
            groups.setdefault((sign.code, sign.site, sign.which or "", sign.certain), []).append(sign)
    found = tuple(abnormality(view, _sign(view, groups[key])) for key in sorted(groups))
    return Found(found, (*_held_back(view), *_equivocal(view)))


def _sign(view: ExamView, signs: list[Sign]) -> Draft:
    first, side = signs[0], side_of(sign.side for sign in signs)
    paired = view.vocabulary.reflexes[first.site].paired
    where = f" {SIDE_WORDS[side]}" if paired else ""
    return Draft(
        code=first.code,
        sites=(first.site,),
        side=side,
        sentence=f"{_named_sign(view, first)}{where}.",
        rests_on=(sign.finding.finding for sign in signs),
        level=first.finding.level if first.code == "increased-jaw-jerk" else None,
        certain=first.certain,
        which=first.which,
    )


def _named_sign(view: ExamView, sign: Sign) -> str:
    variant = f" ({sign.which.replace('_', ' ')})" if sign.which else ""
    if sign.code == "absent-superficial-reflex":
        return f"Absent {view.name(sign.site)}{variant}"
    return _SENTENCE[sign.code] + variant


def _held_back(view: ExamView) -> Iterable[Diagnostic]:
    """The signs that the age rule holds back, with its reason."""
    held = [sign for sign in view.signs if sign.present and sign.code in _NORMAL_IN_INFANCY]
    held = [sign for sign in held if sign.remark != "sustained"]
    if view.age.holds and view.age.code and view.age.reason:
        said = listed(sorted({COMPANION_NAMES.get(s.code) or _named_sign(view, s).lower() for s in held}))
        yield caution(
            view.age.code,
            f"No upper motor neurone pattern is reported since {view.age.reason}"
            + (f"; found, but not called abnormal for that reason: {said}" if said else ""),
            [sign.finding for sign in held],
            hint="an extensor plantar response, primitive reflexes and brief clonus can be normal in infancy",
        )


def _equivocal(view: ExamView) -> Iterable[Diagnostic]:
    """Plantar responses that are neither flexor nor extensor count for neither."""
    findings = [
        s.finding for s in view.signs if s.code == "extensor-plantar" and s.finding.response == "equivocal"
    ]
    if findings:
        side = SIDE_WORDS[side_of(finding.side for finding in findings)]
        yield caution(
            "equivocal-plantar", f"The plantar response is equivocal {side} and counts for neither", findings
        )


def upper_motor_neurone_pattern(view: ExamView) -> Found:
    """Increased reflexes with or without companions, and reduced leg reflexes with an extensor plantar."""
    if view.age.holds:
        return Found()
    counted = counted_of(view)
    drafts = [*_increased(view, counted), *_reduced_with_extensor(view, counted)]
    return Found(tuple(abnormality(view, draft) for draft in drafts))


def _increased(view: ExamView, counted: Counted) -> Iterable[Draft]:
    increased = {p: s for p, s in counted.increased.items() if view.limb(p[0]) in ("upper", "lower")}
    examined = [s for s in view.signs if is_companion(s) and s.present is not None]
    if not increased or not examined:
        return
    present = {sign.code for sign in counted.companions}
    absent = {sign.code for sign in examined} - present
    silent = set(COMPANION_NAMES) - {sign.code for sign in examined}
    sites = named(view, (site for site, _ in increased))
    absences = f"; examined and not found: {_names(absent)}" if absent else ""
    silences = f"; not documented: {_names(silent)}" if silent else ""
    rests_on = [*_rests_on(increased), *(s.finding.finding for s in (counted.companions or examined))]
    strong = any(sign.certain and sign.code not in WEAK_COMPANIONS for sign in counted.companions)
    opening = f"Increased {sites} together with {_names(present)}" if present else f"Increased {sites}"
    yield Draft(
        code="upper-motor-neurone-pattern" if present else "increased-without-companions",
        sites=sorted_sites(view, (site for site, _ in increased)),
        side=side_of(side for _, side in increased),
        sentence=f"{opening}{absences}{silences}.",
        rests_on=rests_on,
        certain=strong if present else all(sign.certain for sign in examined),
    )


def _reduced_with_extensor(view: ExamView, counted: Counted) -> Iterable[Draft]:
    for sign in counted.companions:
        if sign.code != "extensor-plantar":
            continue
        legs = {
            place: strength
            for place, strength in counted.reduced.items()
            if view.limb(place[0]) == "lower" and sign.side in (place[1], "both")
        }
        if legs:
            yield Draft(
                code="reduced-with-extensor-plantar",
                sites=sorted_sites(view, (site for site, _ in legs)),
                side=sign.side,
                sentence=f"Reduced or absent {named(view, (site for site, _ in legs))} with an extensor "
                f"plantar response {SIDE_WORDS[sign.side]}.",
                rests_on=[*_rests_on(legs), sign.finding.finding],
                certain=sign.certain,
            )


def _rests_on(places: Mapping[Place, Strength]) -> list[str]:
    return [identifier for strength in places.values() for identifier in strength.rests_on]


def _names(codes: Iterable[str]) -> str:
    return listed([name for code, name in COMPANION_NAMES.items() if code in set(codes)])
