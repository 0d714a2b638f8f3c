"""Hides small numbers so that nobody can be picked out, and so that no subtraction brings them back.

Takes the persons behind each number of a figure, by place (a dimension and a group in it); gives the places
whose numbers may be published. A number resting on fewer than `least` persons is left out (primary
suppression). Others are left out until neither of these gives a number resting on so few (complementary
suppression):

- a whole less its published parts, where the parts are groups of one dimension that lie inside the whole, and
  the whole is all notes or a group of another dimension: all notes less the other examiners, or a facility
  less the examiners who work only there;
- published parts that together contain a whole, less that whole;
- the same for what is left of a denominator once the figure is taken off it;
- any other sum and difference of the published numbers of a figure and its denominator (see `solving`).

Not covered: a reader who knows persons behind a number from elsewhere; and numbers of two figures taken from
one another unless one is the other's denominator.

Terms after the Statistical Disclosure Control handbook (sdctools.github.io/HandbookSDC): primary and
secondary suppression, here by number of persons.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from converter.audit.solving import Combination, Place, given_away

_Cell = dict[str, dict[str, set[int]]]
"""Persons, by a group of one dimension and a group of another."""


@dataclass(slots=True)
class Universe:
    """What one number counts, by place.

    Attributes:
        persons: the persons at each place.
        cells: for two dimensions, the persons by group of the one and group of the other.
        combinations: the persons by all places of their notes together.
    """

    persons: dict[Place, set[int]] = field(default_factory=lambda: defaultdict(set))
    cells: dict[tuple[str, str], _Cell] = field(
        default_factory=lambda: defaultdict(lambda: defaultdict(lambda: defaultdict(set)))
    )
    combinations: dict[Combination, set[int]] = field(default_factory=lambda: defaultdict(set))

    def add(self, places: Iterable[Place], persons: set[int]) -> None:
        """Count persons once at a place in each dimension."""
        places = tuple(places)
        self.combinations[places] |= persons
        for dimension, group in places:
            self.persons[dimension, group] |= persons
            for other, other_group in places:
                if other != dimension:
                    self.cells[dimension, other][group][other_group] |= persons

    def small(self, least: int) -> set[Place]:
        """The places with somebody, but too few."""
        return {place for place, persons in self.persons.items() if 0 < len(persons) < least}

    def size(self, place: Place) -> int:
        """How many persons a place has."""
        return len(self.persons[place]) if place in self.persons else 0


def publishable(
    number: Universe, rest: Universe | None, published: Iterable[Place], least: int
) -> set[Place]:
    """The places at which a number may be published.

    Args:
        number: what is counted.
        rest: what is left of its denominator; None where it has none.
        published: the places at which the denominator is published; all places where it has none.
        least: how many persons a number, or a difference of numbers, must rest on; 1 hides nothing.
    """
    with_rest = set(published)
    nobody = with_rest - set(
        number.persons
    )  # a nought is always shown, and there the rest is the denominator
    shown = set(number.persons) - number.small(least)
    if rest is not None:
        shown -= rest.small(least) & with_rest
    while weak := _weak(number, rest, shown, with_rest, nobody, least):
        shown -= weak
    return shown


def _weak(
    number: Universe,
    rest: Universe | None,
    shown: set[Place],
    whole: set[Place],
    nobody: set[Place],
    least: int,
) -> set[Place]:
    """Published places that have to go, since others with them give too small a number away."""

    def smallest(places: Iterable[Place]) -> Place:
        return min(places, key=lambda place: (number.size(place), place))

    undone = (
        *_undone(number, shown, least),
        *(_undone(rest, shown & whole | nobody, least) if rest is not None else ()),
    )
    if weak := {smallest(open_) for places in undone if (open_ := places & shown)}:
        return weak
    left = rest.combinations if rest is not None else {}
    known = whole if rest is not None else set[Place]()
    parts = given_away(number.combinations, left, shown, known, least)
    return {smallest(parts)} if parts else set()


def publishable_together(numbers: Iterable[Universe], places: Iterable[Place], least: int) -> set[Place]:
    """The places at which several numbers may all be published; at others none of them may be.

    Args:
        numbers: what each counts; nobody at a place is no obstacle.
        places: the places in question.
        least: how many persons a number, or a difference of numbers, must rest on.
    """
    universes = tuple(numbers)
    shown = set(places).difference(*(one.small(least) for one in universes))
    while weak := {
        min(undone, key=lambda place: (one.size(place), place))
        for one in universes
        for undone in (*_undone(one, shown, least), given_away(one.combinations, {}, shown, (), least))
        if undone
    }:
        shown -= weak
    return shown


def _undone(universe: Universe, shown: set[Place], least: int) -> Iterator[set[Place]]:
    """Sets of published places of which a subtraction leaves too few persons."""
    for (dimension, other), cells in universe.cells.items():
        across = universe.cells[other, dimension]
        for group, parts in cells.items():
            if (dimension, group) not in shown:
                continue
            inside = {part for part in parts if (other, part) in shown and len(across[part]) == 1}
            left = (persons for part, persons in parts.items() if part not in inside)
            if inside and _few(left, least):
                yield {(dimension, group), *((other, part) for part in inside)}
            if all((other, part) in shown for part in parts):
                beyond = (
                    persons for part in parts for name, persons in across[part].items() if name != group
                )
                if _few(beyond, least):
                    yield {(dimension, group), *((other, part) for part in parts)}


def _few(persons: Iterable[set[int]], least: int) -> bool:
    """Whether these are somebody, but too few."""
    together: set[int] = set()
    for some in persons:
        together |= some
        if len(together) >= least:
            return False
    return bool(together)
