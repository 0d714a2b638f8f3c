"""Rule: going down the segments, reduced reflexes give way to increased ones, or the other way round.

Reduced at one segment with increase below it: Kasahata 2013, 10.4021/jnr236w (C4-5 and C5-6 disc levels);
Reider, The Orthopaedic Physical Examination (C5-C6 stenosis).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from converter.assess.counted import Counted, counted_of
from converter.assess.exam_view import ExamView, Place
from converter.assess.making import SIDE_WORDS, Draft, Found, abnormality, named, side_of, sorted_sites
from converter.assess.strength import Strength

_LANES = ("left", "right", "unspecified")


@dataclass(frozen=True, slots=True)
class Turn:
    """Where, on one side, reduced and increased reflexes meet.

    Attributes:
        code: `reduced-above-increased` or `increased-above-reduced`.
        upper: the reflexes above the turn, by place.
        lower: the reflexes below it.
        clean: no reflex of the other kind lies on the wrong side of the turn.
    """

    code: str
    upper: Mapping[Place, Strength]
    lower: Mapping[Place, Strength]
    clean: bool


def level_pattern(view: ExamView) -> Found:
    """One abnormality for each direction of turning; both sides together."""
    turns: dict[str, dict[str, Turn]] = {}
    for lane, turn in turns_of(view, counted_of(view)).items():
        turns.setdefault(turn.code, {})[lane] = turn
    return Found(tuple(abnormality(view, _draft(view, turns[code])) for code in sorted(turns)))


def turns_of(view: ExamView, counted: Counted) -> dict[str, Turn]:
    """The turn on each side that has one."""
    found = {lane: _turn(view, counted, lane) for lane in _LANES}
    return {lane: turn for lane, turn in found.items() if turn is not None}


def _turn(view: ExamView, counted: Counted, lane: str) -> Turn | None:
    reduced = {p: s for p, s in counted.reduced.items() if p[1] == lane and view.order(p[0]) < 99}
    increased = {p: s for p, s in counted.increased.items() if p[1] == lane and view.order(p[0]) < 99}
    if not reduced or not increased:
        return None
    first_reduced = min(view.order(site) for site, _ in reduced)
    below = {p: s for p, s in increased.items() if view.order(p[0]) > first_reduced}
    if below:
        turn = max(view.order(site) for site, _ in below)
        upper = {p: s for p, s in reduced.items() if view.order(p[0]) < turn}
        return Turn(
            "reduced-above-increased",
            upper,
            below,
            len(below) == len(increased) and len(upper) == len(reduced),
        )
    return Turn("increased-above-reduced", increased, reduced, clean=True)


def _draft(view: ExamView, turns: Mapping[str, Turn]) -> Draft:
    upper = [place for turn in turns.values() for place in turn.upper]
    lower = [place for turn in turns.values() for place in turn.lower]
    code, side = next(iter(turns.values())).code, side_of(turns)
    above, below = ("reduced", "increased") if code == "reduced-above-increased" else ("increased", "reduced")
    strengths = [s for turn in turns.values() for part in (turn.upper, turn.lower) for s in part.values()]
    return Draft(
        code=code,
        sites=sorted_sites(view, (site for site, _ in (*upper, *lower))),
        side=side,
        sentence=f"Going down, {named(view, (site for site, _ in upper))} {above} and "
        f"{named(view, (site for site, _ in lower))} {below} {SIDE_WORDS[side]}.",
        rests_on=(identifier for strength in strengths for identifier in strength.rests_on),
        certain=all(turn.clean for turn in turns.values())
        and all(strength.certain for strength in strengths),
    )
