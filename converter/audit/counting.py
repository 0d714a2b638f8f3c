"""Counts the figures over all notes and group by group, small numbers hidden.

Takes the facts of all notes; gives Results. A number that may not be published is None in what leaves here.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from converter.audit.protection import Place, Universe, publishable, without_small_rests
from converter.audit.values import DIMENSIONS, NOT_STATED, YES, Figure, NoteFacts, Result, Row

ALL = "all"

_FIRST = {"reflexes": 0, "exam": 1, "note": 2}
"""What the report is about is settled first, so that a few notes without it do not hide the rest; each of
these is settled together with the narrower one before it."""


@dataclass(slots=True)
class _Numbers:
    """The numbers of one figure: how many by category and place, and who stands behind them."""

    counts: dict[str, Counter[Place]] = field(default_factory=lambda: defaultdict(Counter))
    persons: dict[str, Universe] = field(default_factory=lambda: defaultdict(Universe))
    of: Counter[Place] = field(default_factory=Counter)
    of_persons: Universe = field(default_factory=Universe)
    rest: Universe = field(default_factory=Universe)


def count(facts: Sequence[NoteFacts], figures: Sequence[Figure], least: int, has_text: bool) -> tuple[Result, ...]:
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
    shown: dict[str, set[Place]] = {}
    numbers: dict[str, _Numbers] = {}
    safe: dict[str, dict[str, set[Place]]] = {}
    for name in sorted(known, key=lambda name: _FIRST.get(name, len(_FIRST))):
        numbers[name] = _numbers(facts, persons, known[name])
        safe[name] = _safe(known[name], numbers, shown, known, least)
        shown[name] = safe[name][_denominator(known[name])] if known[name].of is None else safe[name].get(YES, set())
    return tuple(
        Result(
            figure=figure,
            counted=figure.figure in known,
            rows=tuple(_rows(figure, numbers[figure.figure], safe[figure.figure], shown, groups))
            if figure.figure in known
            else (),
        )
        for figure in figures
    )


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
    return {name: sorted(these, key=lambda group: (group == NOT_STATED, group)) for name, these in found.items()}


def _chain(figure: Figure, known: Mapping[str, Figure]) -> tuple[str, ...]:
    """The shares around a figure that are published with it: its denominators, or what is settled before it."""
    if figure.figure in _FIRST:
        return _BELOW.get(figure.figure, ())
    above = known.get(figure.of or "")
    return (*_above(above, known), above.figure) if above else ()


def _above(figure: Figure, known: Mapping[str, Figure]) -> tuple[str, ...]:
    above = known.get(figure.of or "")
    return (*_above(above, known), above.figure) if above else ()


def _cells(facts: Sequence[NoteFacts], persons: Sequence[int], figure: Figure, chain: tuple[str, ...]) -> _Cells:
    cells: _Cells = {}
    for one, person in zip(facts, persons, strict=True):
        for counted, weight in _counted(one, figure, chain):
            key = (one.groups, counted)
            number, behind = cells.setdefault(key, (0, set()))
            behind.add(person)
            cells[key] = (number + weight, behind)
    return cells


def _counted(
    one: NoteFacts, figure: Figure, chain: tuple[str, ...]
) -> Iterator[tuple[tuple[tuple[str, str], ...], int]]:
    """The (figure, category) that a note counts in together: the shares around the figure, and the figure."""
    reached = tuple((name, YES) for name in chain if name in one.marks)
    inside = figure.of is None or figure.of in one.marks
    if figure.is_share:
        mine = ((figure.figure, YES),) if inside and figure.figure in one.marks else ()
        if reached or mine:
            yield (*reached, *mine), 1
        return
    spread = [(category, times) for name, category, times in one.spreads if name == figure.figure]
    if reached and not (inside and spread):
        yield reached, 1
        return
    denominator = reached or ((figure.figure, _OF),)
    for category, times in spread:
        yield (*denominator, (figure.figure, category)), times


def _column(groups: tuple[str, ...], counted: tuple[tuple[str, str], ...]) -> tuple[Name, ...]:
    return tuple((*which, *place) for which in counted for place in _places(groups))


def _places(groups: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    yield ALL, ALL
    yield from zip(DIMENSIONS, groups, strict=True)


def _numbers(figure: str, cells: _Cells) -> Counter[Name]:
    """The numbers of one figure, none of them hidden so far."""
    numbers: Counter[Name] = Counter()
    for (groups, counted), (number, _) in cells.items():
        for name in _column(groups, counted):
            if name[0] == figure:
                numbers[name] += number
    return numbers


def _rows(
    figure: Figure, numbers: Mapping[Name, int], safe: frozenset[Name], groups: Mapping[str, Sequence[str]]
) -> Iterator[Row]:
    own = _denominator(figure)
    for place in ((ALL, ALL), *((name, one) for name, these in groups.items() for one in these)):
        yield Row(
            dimension=place[0],
            group=place[1],
            counts={
                category: _shown((figure.figure, category, *place), numbers, safe)
                for category in figure.categories
            },
            of=_shown((*own, *place), numbers, safe),
        )


def _denominator(figure: Figure) -> tuple[str, str]:
    """The figure and category that a figure is counted out of."""
    if figure.of:
        return figure.of, YES
    return figure.figure, YES if figure.is_share else _OF


def _shown(name: Name, numbers: Mapping[Name, int], safe: frozenset[Name]) -> int | None:
    """A number, or None where it is hidden; nothing at all is nobody's secret."""
    number = numbers[name]
    return number if not number or name in safe else None
