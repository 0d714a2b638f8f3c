"""What a reader can work out from published numbers by adding and subtracting them with any factors.

Takes the persons behind a number, and behind what is left of its denominator, by combination of groups,
and the places at which number and denominator are published; gives a set of places that together give
away a number resting on too few persons, or nothing.

The reader is taken to know which combinations of groups have anybody at all. A hidden sum over
combinations can be worked out exactly where it is a linear combination of published sums, that is where
every assignment that leaves all published sums at nought leaves it at nought too. One such assignment is
drawn at random over a prime field, so that all sums are tried at once: a sum that can be worked out is
always found, one that cannot is taken for one with a chance of one in a thousand million, which only
hides more. The draw has a fixed seed: the same numbers give the same answer.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from random import Random

Place = tuple[str, str]
"""A dimension and a group in it."""

Combination = tuple[Place, ...]
"""All places of a note: all notes first, then one group of each dimension."""

_PRIME = 2**31 - 1
_NUMBER, _WHOLE = "number", "whole"
_Row = tuple[str, Place]
"""A published sum: of the number or of its denominator, at a place."""
_Sum = tuple[bool, Combination]
"""A sum that must not be known: of the number or of the rest, at a place or where two places meet."""


@dataclass(slots=True)
class _Cells:
    """The combinations with somebody, and to which published sums each belongs."""

    rows: dict[_Row, int]
    inside: list[list[int]] = field(default_factory=list)
    sums: dict[_Sum, list[int]] = field(default_factory=lambda: defaultdict(list))
    persons: dict[_Sum, set[int]] = field(default_factory=lambda: defaultdict(set))

    def add(self, combination: Combination, persons: Iterable[int], *, counted: bool) -> None:
        """Add a combination of the number, or of the rest of its denominator."""
        kinds = (_NUMBER, _WHOLE) if counted else (_WHOLE,)
        rows = (self.rows.get((kind, place)) for kind in kinds for place in combination)
        for places in ((place,) for place in combination), combinations(combination[1:], 2):
            for one in places:
                self.sums[counted, one].append(len(self.inside))
                self.persons[counted, one].update(persons)
        self.inside.append([row for row in rows if row is not None])


def given_away(
    number: Mapping[Combination, set[int]],
    rest: Mapping[Combination, set[int]],
    shown: Iterable[Place],
    whole: Iterable[Place],
    least: int,
) -> set[Place]:
    """Places at which the number is published and that together give away too small a number; or none.

    Args:
        number: the persons behind the number, by combination.
        rest: the persons behind what is left of its denominator.
        shown: the places at which the number is published.
        whole: the places at which the denominator is published.
        least: how many persons a number must rest on.
    """
    published = [
        *((_NUMBER, place) for place in sorted(shown)),
        *((_WHOLE, place) for place in sorted(whole)),
    ]
    cells = _Cells({row: at for at, row in enumerate(published)})
    for counted, universe in ((True, number), (False, rest)):
        for combination in sorted(universe):
            cells.add(combination, universe[combination], counted=counted)
    small = [one for one, persons in cells.persons.items() if 0 < len(persons) < least]
    if not small or not published:
        return set()
    chance = Random(len(cells.inside))  # noqa: S311 - no secret, and the same each time
    weights = [chance.randrange(1, _PRIME) for _ in cells.inside]
    drawn = [chance.randrange(1, _PRIME) for _ in cells.inside]
    factors = _solved(_squares(cells, weights), _row_sums(cells, drawn))
    silent = [
        (value - weight * sum(factors[row] for row in rows)) % _PRIME
        for value, weight, rows in zip(drawn, weights, cells.inside, strict=True)
    ]
    for one in small:
        if sum(silent[at] for at in cells.sums[one]) % _PRIME == 0:
            parts = _parts_of(cells, weights, cells.sums[one])
            return {place for (kind, place), row in cells.rows.items() if parts[row] and kind == _NUMBER}
    return set()


def _parts_of(cells: _Cells, weights: Sequence[int], inside: Iterable[int]) -> list[int]:
    """With which factors the published sums make up a sum that can be worked out."""
    wanted = set(inside)
    values = [weight if at in wanted else 0 for at, weight in enumerate(weights)]
    return _solved(_squares(cells, weights), _row_sums(cells, values))


def _row_sums(cells: _Cells, values: Sequence[int]) -> list[int]:
    sums = [0] * len(cells.rows)
    for value, rows in zip(values, cells.inside, strict=True):
        for row in rows:
            sums[row] = (sums[row] + value) % _PRIME
    return sums


def _squares(cells: _Cells, weights: Sequence[int]) -> list[list[int]]:
    """How the published sums overlap, each combination with its weight."""
    size = len(cells.rows)
    squares = [[0] * size for _ in range(size)]
    for weight, rows in zip(weights, cells.inside, strict=True):
        for one in rows:
            line = squares[one]
            for other in rows:
                line[other] = (line[other] + weight) % _PRIME
    return squares


def _solved(squares: list[list[int]], wanted: Sequence[int]) -> list[int]:
    """One solution of the linear equations, modulo the prime; free unknowns are nought."""
    lines = [[*line, value] for line, value in zip(squares, wanted, strict=True)]
    size = len(lines)
    leads: list[tuple[int, list[int]]] = []
    for column in range(size):
        pivot = next((line for line in lines if line[column]), None)
        if pivot is None:
            continue
        lines.remove(pivot)
        inverse = pow(pivot[column], -1, _PRIME)
        pivot = [value * inverse % _PRIME for value in pivot]
        leads.append((column, pivot))
        for at, line in enumerate(lines):
            if factor := line[column]:
                lines[at] = [(value - factor * one) % _PRIME for value, one in zip(line, pivot, strict=True)]
    solution = [0] * size
    for column, pivot in reversed(leads):
        known = sum(value * solution[at] for at, value in enumerate(pivot[:size]) if value and at != column)
        solution[column] = (pivot[size] - known) % _PRIME
    return solution
