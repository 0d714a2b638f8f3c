"""Counts the figures over all notes and group by group, small numbers hidden.

Takes the facts of all notes; gives Results. A number that may not be published is None in what leaves here.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from converter.audit.protection import Universe, publishable, publishable_together
from converter.audit.solving import Place
from converter.audit.values import DIMENSIONS, NOT_STATED, YES, Figure, NoteFacts, Result, Row

ALL = "all"

_FUNNEL = ("reflexes", "exam", "note")
"""Settled first and in this order, the narrowest first: a few notes without reflexes must not hide what the
report is about. Each is settled together with the one before it."""


@dataclass(slots=True)
class _Tally:
    """One number: how many, and who stands behind it, by combination of groups."""

    counts: Counter[tuple[str, ...]] = field(default_factory=Counter)
    persons: dict[tuple[str, ...], set[int]] = field(default_factory=lambda: defaultdict(set))

    def add(self, groups: tuple[str, ...], person: int, times: int) -> None:
        """Count a note."""
        self.counts[groups] += times
        self.persons[groups].add(person)

    def by_place(self) -> Counter[Place]:
        """How many at each place."""
        found: Counter[Place] = Counter()
        for groups, number in self.counts.items():
            for place in _places(groups):
                found[place] += number
        return found

    def universe(self) -> Universe:
        """Who stands behind it, by place."""
        universe = Universe()
        for groups, persons in self.persons.items():
            universe.add(_places(groups), persons)
        return universe


@dataclass(slots=True)
class _Numbers:
    """The numbers of one figure, by category, and its denominator."""

    tallies: dict[str, _Tally] = field(default_factory=lambda: defaultdict(_Tally))
    of: _Tally = field(default_factory=_Tally)


def count(
    facts: Sequence[NoteFacts], figures: Sequence[Figure], least: int, has_text: bool
) -> tuple[Result, ...]:
    """Count the figures.

    Args:
        facts: what each note adds.
        figures: the figures.
        least: the smallest number of patients that a number may rest on.
        has_text: whether the archive holds the text of the notes.
    """
    persons = _persons(facts)
    groups = _groups(facts)
    known = {figure.figure: figure for figure in figures if has_text or not figure.text}
    safe: dict[str, dict[str, set[Place]]] = {}
    results: dict[str, Result] = {}
    funnel = [name for name in _FUNNEL if name in known]
    safe.update(_safe_funnel(facts, persons, funnel, least))
    for figure in known.values():
        numbers = _numbers(facts, persons, figure)
        of = safe[figure.of].get(YES, set()) if figure.of else safe.get(figure.figure, {}).get(YES, set())
        if figure.figure not in safe:
            safe[figure.figure] = _safe(facts, persons, figure, numbers, of, least)
        rows = _rows(figure, numbers, safe[figure.figure], of, groups)
        results[figure.figure] = Result(figure=figure, counted=True, rows=tuple(rows))
    return tuple(results.get(figure.figure) or Result(figure=figure, counted=False) for figure in figures)


def patients_named(facts: Iterable[NoteFacts]) -> bool:
    """Whether every note names its patient; a note that does not counts as a patient of its own."""
    return all(one.patient is not None for one in facts)


def _persons(facts: Sequence[NoteFacts]) -> list[int]:
    numbers: dict[tuple[str, object], int] = {}
    keys = (("note", at) if one.patient is None else ("patient", one.patient) for at, one in enumerate(facts))
    return [numbers.setdefault(key, len(numbers)) for key in keys]


def _groups(facts: Iterable[NoteFacts]) -> dict[str, list[str]]:
    """The groups of each dimension in the order of a report, those not stated last."""
    found: dict[str, set[str]] = {dimension: set() for dimension in DIMENSIONS}
    for one in facts:
        for dimension, group in zip(DIMENSIONS, one.groups, strict=True):
            found[dimension].add(group)
    return {
        name: sorted(these, key=lambda group: (group == NOT_STATED, group)) for name, these in found.items()
    }


def _places(groups: tuple[str, ...]) -> tuple[Place, ...]:
    return (ALL, ALL), *zip(DIMENSIONS, groups, strict=True)


def _numbers(facts: Sequence[NoteFacts], persons: Sequence[int], figure: Figure) -> _Numbers:
    numbers = _Numbers()
    for category, one, person, times in _counted(facts, persons, figure):
        numbers.tallies[category].add(one.groups, person, times)
    if figure.unit == "notes":
        for one, person in zip(facts, persons, strict=True):
            if (figure.of or figure.figure) in one.marks:
                numbers.of.add(one.groups, person, 1)
    return numbers


def _counted(
    facts: Sequence[NoteFacts], persons: Sequence[int], figure: Figure
) -> Iterator[tuple[str, NoteFacts, int, int]]:
    """Each category in which a note counts, with the note, its patient, and how often."""
    for one, person in zip(facts, persons, strict=True):
        if figure.of is not None and figure.of not in one.marks:
            continue
        if figure.is_share:
            if figure.figure in one.marks:
                yield YES, one, person, 1
        else:
            for name, category, times in one.spreads:
                if name == figure.figure:
                    yield category, one, person, times


def _without(
    facts: Sequence[NoteFacts], persons: Sequence[int], inside: str | None, outside: str
) -> Universe:
    """Who is left of a denominator without the share."""
    rest = _Tally()
    for one, person in zip(facts, persons, strict=True):
        if inside in one.marks and outside not in one.marks:
            rest.add(one.groups, person, 1)
    return rest.universe()


def _safe_funnel(
    facts: Sequence[NoteFacts], persons: Sequence[int], funnel: Sequence[str], least: int
) -> dict[str, dict[str, set[Place]]]:
    """Where the numbers of the funnel may be published, each together with the narrower one."""
    safe: dict[str, dict[str, set[Place]]] = {}
    narrower: Universe | None = None
    for at, name in enumerate(funnel):
        tally = _Tally()
        for one, person in zip(facts, persons, strict=True):
            if name in one.marks:
                tally.add(one.groups, person, 1)
        number = tally.universe()
        rest, published = None, set[Place]()
        if narrower is not None:
            inner = funnel[at - 1]
            rest = _without(facts, persons, name, inner)
            published = safe[inner][YES] | set(number.persons) - set(narrower.persons)
        safe[name] = {YES: publishable(number, rest, published, least)}
        narrower = number
    return safe


def _safe(
    facts: Sequence[NoteFacts],
    persons: Sequence[int],
    figure: Figure,
    numbers: _Numbers,
    of: set[Place],
    least: int,
) -> dict[str, set[Place]]:
    """Where each category of a figure may be published.

    A share goes together with what is left of its denominator. Of a distribution over notes the first
    category does, and the others are shown all together or not at all, or a hidden one could be worked out.
    The grades of a distribution over grades stand alone: no denominator is published with them.
    """
    universes = {category: tally.universe() for category, tally in numbers.tallies.items()}
    if figure.is_share:
        rest = _without(facts, persons, figure.of, figure.figure)
        return {name: publishable(one, rest, of, least) for name, one in universes.items()}
    if figure.unit != "notes":
        return {name: publishable(one, None, (), least) for name, one in universes.items()}
    first, *others = figure.categories
    rest = _rest_of_spread(numbers, others)
    safe = {first: publishable(universes.get(first, Universe()), rest, of, least)}
    nobody = of - set(
        universes.get(first, Universe()).persons
    )  # no hidden number: nobody counts in the first
    together = publishable_together(
        (universes.get(name, Universe()) for name in others), (safe[first] | nobody) & of, least
    )
    return safe | dict.fromkeys(others, together)


def _rest_of_spread(numbers: _Numbers, others: Iterable[str]) -> Universe:
    rest = Universe()
    for name in others:
        for groups, persons in numbers.tallies[name].persons.items():
            rest.add(_places(groups), persons)
    return rest


def _rows(
    figure: Figure,
    numbers: _Numbers,
    safe: Mapping[str, set[Place]],
    of: set[Place],
    groups: Mapping[str, Sequence[str]],
) -> Iterator[Row]:
    counts = {category: numbers.tallies[category].by_place() for category in figure.categories}
    denominators = numbers.of.by_place()
    for place in ((ALL, ALL), *((name, one) for name, these in groups.items() for one in these)):
        shown = {
            category: _shown(counts[category][place], place in safe.get(category, ()))
            for category in figure.categories
        }
        if figure.unit == "notes" and not figure.is_share and denominators[place]:
            shown |= _without_lone_noughts(figure, shown, safe, place)
        whole = _shown(denominators[place], place in of) if figure.unit == "notes" else _sum(shown.values())
        yield Row(dimension=place[0], group=place[1], counts=shown, of=whole)


def _without_lone_noughts(
    figure: Figure, shown: Mapping[str, int | None], safe: Mapping[str, set[Place]], place: Place
) -> dict[str, int | None]:
    """The later categories of a distribution, noughts hidden as well where not all of them may be published.

    Noughts beside a published denominator would say how many the one hidden category has.
    """
    _, *others = figure.categories
    return {name: shown[name] if place in safe.get(name, ()) else None for name in others}


def _sum(shown: Iterable[int | None]) -> int | None:
    """The sum of what is shown; None where something is hidden and nothing shown."""
    numbers = list(shown)
    known = sum(number for number in numbers if number is not None)
    return None if None in numbers and not known else known


def _shown(number: int, safe: bool) -> int | None:
    """A number, or None where it is hidden; nothing at all is nobody's secret."""
    return number if safe or not number else None
