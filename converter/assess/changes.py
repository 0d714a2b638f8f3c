"""What changed between the exams of one patient.

Takes the visits in order and the strength of each reflex at each; gives the changes. A change on one scale
goes by grades; between words, or between scales, by level, and then only over two levels or more.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

from converter.assess.counted import HIGH, LOW
from converter.assess.exam_view import ExamView, Place
from converter.assess.making import SIDE_WORDS, grades, listed, named, side_of, sorted_sites
from converter.assess.options import AssessOptions
from converter.assess.strength import RANK, Strength, compare
from converter.model.course import Change, Visit

Values = Mapping[Place, Sequence[Strength | None]]
_LEVELS_APART = 2
_WORDS = {"up": "stronger", "down": "weaker"}


@dataclass(frozen=True, slots=True)
class Seen:
    """A visit with its number and what the rules see of it."""

    number: int
    view: ExamView
    visit: Visit


@dataclass(frozen=True, slots=True)
class Step:
    """One reflex on one side at two visits."""

    place: Place
    before: Seen
    after: Seen
    first: Strength
    last: Strength
    direction: str
    size: float | None
    certain: bool


def changes_of(seen: Sequence[Seen], values: Values, options: AssessOptions) -> tuple[Change, ...]:
    """Every change, in order of time, the widest first."""
    steps = [step for place, strengths in values.items() for step in _steps(seen, place, strengths, options)]
    rules: dict[str, list[Change]] = {
        "generalised-change": [*_generalised(seen, values, steps)],
        "reversal-over-time": [*_grouped("reversal-over-time", [step for step in steps if _reverses(step)])],
        "change-over-time": [*_grouped("change-over-time", steps), *_as_said(seen)],
        "new-side-difference": [*_new_side_differences(seen)],
    }
    found = [c for name, changes in rules.items() if name not in options.rules_left_out for c in changes]
    return tuple(sorted(found, key=lambda change: (change.after, change.before)))


def _steps(
    seen: Sequence[Seen], place: Place, strengths: Sequence[Strength | None], options: AssessOptions
) -> Iterator[Step]:
    """Changes from one documented visit to the next, or else from the first to the last."""
    known = [(each, strength) for each, strength in zip(seen, strengths, strict=True) if strength is not None]
    pairs = [_step(place, one, two, options) for one, two in pairwise(known)]
    found = [step for step in pairs if step is not None]
    if not found and len(known) > 2:
        slow = _step(place, known[0], known[-1], options)
        found = [slow] if slow is not None else []
    yield from found


def _step(
    place: Place, before: tuple[Seen, Strength], after: tuple[Seen, Strength], options: AssessOptions
) -> Step | None:
    (one, first), (two, last) = before, after
    mixed = one.view.mixed | two.view.mixed
    compared = compare(first, last, mixed, one.view.knowledge.comparison, options.change)
    by_grades = compared.outcome == "sure" and compared.size is not None
    ranks = [RANK.get(strength.level or "") for strength in (first, last)]
    apart = ranks[1] - ranks[0] if ranks[0] is not None and ranks[1] is not None else 0
    same_scale = first.scale is not None and first.scale == last.scale
    if not by_grades and (same_scale or abs(apart) < _LEVELS_APART):
        return None
    weaker_first = compared.weaker == "first" if by_grades else apart > 0
    return Step(
        place=place,
        before=one,
        after=two,
        first=first,
        last=last,
        direction="up" if weaker_first else "down",
        size=compared.size if by_grades else None,
        certain=first.certain and last.certain and (same_scale or first.scale == last.scale),
    )


def _reverses(step: Step) -> bool:
    first, last = step.first.level, step.last.level
    return (first in LOW and last in HIGH) or (first in HIGH and last in LOW)


def _grouped(code: str, steps: Sequence[Step]) -> Iterator[Change]:
    """Steps that are alike as one change: both sides of a reflex, or all reflexes of a region."""
    groups: dict[tuple[object, ...], list[Step]] = {}
    for step in steps:
        regional = step.first.region and step.last.region
        key = (
            (step.first.rests_on, step.last.rests_on) if regional else step.place[0],
            step.before.number,
            step.after.number,
            step.direction,
            step.size,
            step.certain,
            step.first.short,
            step.last.short,
        )
        groups.setdefault(key, []).append(step)
    for group in groups.values():
        yield _change(code, group)


def _change(code: str, steps: Sequence[Step]) -> Change:
    step = steps[0]
    view = step.after.view
    known = view.knowledge.codes[code]
    side = side_of(each.place[1] for each in steps)
    size = f" by {grades(step.size)}" if step.size is not None else ""
    same_scale = step.first.scale == step.last.scale if step.first.scale and step.last.scale else None
    change = Change(
        code=code,
        rule=known.rule,
        sites=sorted_sites(view, (each.place[0] for each in steps)),
        side=side,
        before=step.before.number,
        after=step.after.number,
        direction=step.direction,
        size=step.size,
        certainty="stated" if step.certain else "uncertain",
        days=days_between(step.before.visit, step.after.visit),
        same_examiner=same_examiner(step.before.visit, step.after.visit),
        same_scale=same_scale,
        sentence="",
        rests_on=tuple(dict.fromkeys(pair for each in steps for pair in _rests_on(each))),
        source=known.source,
    )
    what = f"{step.first.short} became {step.last.short}, {_WORDS[step.direction]}{size}"
    word = "Reversal of the" if code == "reversal-over-time" else "Change of the"
    return replace(
        change,
        sentence=f"{word} {named(view, change.sites)} {SIDE_WORDS[side]}: {what}; {circumstances(change)}.",
    )


def _rests_on(step: Step) -> list[tuple[str, str]]:
    return [
        *((step.before.visit.note, identifier) for identifier in step.first.rests_on),
        *((step.after.visit.note, identifier) for identifier in step.last.rests_on),
    ]


def circumstances(change: Change) -> str:
    """The interval, and whether examiner and scale were the same, in words."""
    days = (
        "interval not known"
        if change.days is None
        else "1 day"
        if change.days == 1
        else f"{change.days} days"
    )
    examiner = {True: "same examiner", False: "another examiner", None: "examiner not known"}[
        change.same_examiner
    ]
    scale = {True: "same scale", False: "another scale", None: "not both on a scale"}[change.same_scale]
    return f"{days}, {examiner}, {scale}"


def days_between(before: Visit, after: Visit) -> int | None:
    """Whole days between two visits; None where a time is not known to the day."""
    try:
        first, last = (date.fromisoformat((visit.authored or "")[:10]) for visit in (before, after))
    except ValueError:
        return None
    return (last - first).days


def same_examiner(before: Visit, after: Visit) -> bool | None:
    """Whether both visits name one examiner; None where either names none."""
    if before.author is None or after.author is None:
        return None
    return before.author == after.author


def _generalised(seen: Sequence[Seen], values: Values, steps: Sequence[Step]) -> Iterator[Change]:
    """All main reflexes documented at both visits, of arms and legs, changed in one direction."""
    for number in range(1, len(seen)):
        moved = [step for step in steps if (step.before.number, step.after.number) == (number - 1, number)]
        for direction in ("up", "down"):
            group = [
                step for step in moved if step.direction == direction and _main(step.after.view, step.place)
            ]
            limbs = {step.after.view.limb(step.place[0]) for step in group}
            if {"upper", "lower"} <= limbs and len(group) == _documented_twice(
                seen[number].view, values, number
            ):
                yield _of_all(group, direction)


def _documented_twice(view: ExamView, values: Values, number: int) -> int:
    return sum(
        _main(view, place) and strengths[number - 1] is not None and strengths[number] is not None
        for place, strengths in values.items()
    )


def _main(view: ExamView, place: Place) -> bool:
    return view.vocabulary.reflexes[place[0]].main


def _of_all(group: Sequence[Step], direction: str) -> Change:
    change = _change("generalised-change", group)
    before = listed(list(dict.fromkeys(step.first.short for step in group)))
    after = listed(list(dict.fromkeys(step.last.short for step in group)))
    sizes = [step.size for step in group if step.size is not None]
    size = min(sizes) if len(sizes) == len(group) else None
    least = f" by at least {grades(size)}" if size is not None else ""
    return replace(
        change,
        size=size,
        certainty="stated" if all(step.certain for step in group) else "uncertain",
        sentence=f"Change of all reflexes documented at both exams: {before} became {after}, "
        f"{_WORDS[direction]}{least}; {circumstances(change)}.",
    )


def _new_side_differences(seen: Sequence[Seen]) -> Iterator[Change]:
    """A reflex that was the same on both sides and surely differs at the next exam that documents both."""
    sites = sorted({site for each in seen for site in each.view.compared})
    for site in sites:
        known = [each for each in seen if site in each.view.compared]
        for one, two in pairwise(known):
            before, after = one.view.compared[site], two.view.compared[site]
            if before.outcome == "same" and after.outcome == "sure":
                yield _new_difference(site, one, two)


def _new_difference(site: str, one: Seen, two: Seen) -> Change:
    compared = two.view.compared[site]
    side = {"first": "left", "second": "right"}.get(compared.weaker or "", "unspecified")
    pairs = [(each, each.view.strengths[site, s]) for each in (one, two) for s in ("left", "right")]
    scales = {strength.scale for _, strength in pairs}
    known = two.view.knowledge.codes["new-side-difference"]
    change = Change(
        code=known.code,
        rule=known.rule,
        sites=(site,),
        side=side,
        before=one.number,
        after=two.number,
        size=compared.size,
        certainty="stated" if all(strength.certain for _, strength in pairs) else "uncertain",
        days=days_between(one.visit, two.visit),
        same_examiner=same_examiner(one.visit, two.visit),
        same_scale=None if None in scales else len(scales) == 1,
        sentence="",
        rests_on=tuple(
            dict.fromkeys((each.visit.note, i) for each, strength in pairs for i in strength.rests_on)
        ),
        source=known.source,
    )
    left, right = (strength.short for _, strength in pairs[2:])
    return replace(
        change,
        sentence=f"New side difference of the {two.view.name(site)}: weaker {SIDE_WORDS[side]} "
        f"(left {left}, right {right}); {circumstances(change)}.",
    )


def _as_said(seen: Sequence[Seen]) -> Iterator[Change]:
    """Changes that the examiner states by comparing with an earlier exam."""
    for each in seen[1:]:
        for finding in each.view.findings:
            direction = {"greater_than_before": "up", "less_than_before": "down"}.get(
                finding.comparison or ""
            )
            if direction is None or finding.negated:
                continue
            before = seen[each.number - 1]
            known = each.view.knowledge.codes["change-over-time"]
            change = Change(
                code=known.code,
                rule=known.rule,
                sites=(finding.site,),
                side=finding.side,
                before=before.number,
                after=each.number,
                direction=direction,
                certainty=finding.certainty,
                days=days_between(before.visit, each.visit),
                same_examiner=same_examiner(before.visit, each.visit),
                sentence="",
                rests_on=((each.visit.note, finding.finding),),
                source=known.source,
            )
            yield replace(
                change,
                sentence=f"The examiner states that the {each.view.name(finding.site)} "
                f"{SIDE_WORDS[finding.side]} is {_WORDS[direction]} than before; {circumstances(change)}.",
            )
