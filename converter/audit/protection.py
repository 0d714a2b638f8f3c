"""Hides small numbers so that nobody can be picked out, and so that no subtraction brings them back.

Takes, for the numbers that could be published, which persons stand behind them; gives the numbers that may be
published. A number resting on too few persons is left out (primary suppression). Others are left out until no sum or
difference of published numbers, over groups, dimensions, totals and denominators, depends on so few persons
(complementary suppression).

How: a number is a sum over columns, one for each combination of groups and each step from denominator to
numerator. Some combination of the published numbers rests on fewer than `least` persons exactly if taking
those persons away lowers the rank of the published numbers. So enough sets of columns are looked for that share
no person and each keep the full rank: fewer than `least` persons cannot break them all. This is sufficient, not
necessary; it may hide more than it must, never less.

After: Statistical Disclosure Control handbook (sdctools.github.io/HandbookSDC) on primary and secondary
suppression; the use of elimination for it is Langsrud's (R package GaussSuppression). The disjoint sets are ours.
"""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator, Mapping
from typing import TypeVar

N = TypeVar("N", bound=Hashable)
_Column = tuple[int, ...]
_PRIME = 2**61 - 1
"""Elimination is done modulo a large prime: exact, and without fractions."""

_ENOUGH = 8
"""Persons kept for one column, as a multiple of `least`: more cannot change the answer for the better by much."""


def publishable(
    columns: Mapping[tuple[N, ...], Iterable[int]], least: int, fixed: frozenset[N] = frozenset()
) -> frozenset[N]:
    """The numbers that may be published together.

    Args:
        columns: for each combination of numbers that are counted together, the persons counted there.
        least: how many persons a number, or a difference of numbers, must rest on; 1 hides nothing.
        fixed: numbers that are published already, and safe by themselves.

    Returns:
        The safe numbers, those of `fixed` among them as far as they occur. An answer that would need one
        of `fixed` to be hidden gives only the fixed.
    """
    everything = frozenset(name for names in columns for name in names)
    if least <= 1:
        return everything
    persons = _persons_of(columns)
    order = sorted(everything, key=lambda name: (-len(persons[name]), str(name)))  # the widest first
    number = {name: at for at, name in enumerate(order)}
    by_number = {tuple(sorted(number[name] for name in names)): set(behind) for names, behind in columns.items()}
    bound = {number[name] for name in fixed if name in number}
    published = {at for at, name in enumerate(order) if len(persons[name]) >= least} | bound
    while attacks := _attacks(by_number, published, least):
        hidden = _enough_of(attacks, bound) or {max(published - bound, default=-1)}
        if not hidden & published:
            break
        published -= hidden
    return frozenset(order[at] for at in published)


def _persons_of(columns: Mapping[tuple[N, ...], Iterable[int]]) -> dict[N, set[int]]:
    persons: defaultdict[N, set[int]] = defaultdict(set)
    for names, behind in columns.items():
        for name in names:
            persons[name].update(behind)
    return persons


def _enough_of(attacks: Iterable[set[int]], bound: set[int]) -> set[int]:
    """From each attack the number that fewest people stand behind, if none of its numbers is hidden already."""
    hidden: set[int] = set()
    for culprits in attacks:
        if culprits - bound and not culprits & hidden:
            hidden.add(max(culprits - bound))
    return hidden


def _attacks(columns: Mapping[_Column, set[int]], published: set[int], least: int) -> list[set[int]]:
    """Combinations of numbers that may single out too few persons; empty where none can."""
    seen: defaultdict[_Column, set[int]] = defaultdict(set)
    for column, persons in columns.items():
        seen[tuple(name for name in column if name in published)].update(persons)
    seen.pop((), None)
    order = sorted(seen, key=lambda column: (len(seen[column]), column))  # the rarest first
    whole = _Rank()
    for column in order:
        whole.add(column)
    places: defaultdict[int, list[_Column]] = defaultdict(list)
    for column in order:
        for person in sorted(seen[column])[: least * _ENOUGH]:
            places[person].append(column)
    used: set[int] = set()
    for _ in range(least):
        basis = _one_basis(order, seen, places, used, whole.size)
        if basis.size < whole.size:
            return list(_missed(basis, order))
    return []


def _missed(basis: "_Rank", order: Iterable[_Column]) -> Iterator[set[int]]:
    for column in order:
        if not basis.holds(column):
            yield basis.missed_by(column)
            basis.add(column)


def _one_basis(
    order: list[_Column],
    seen: Mapping[_Column, set[int]],
    places: Mapping[int, list[_Column]],
    used: set[int],
    wanted: int,
) -> "_Rank":
    """A set of columns of full rank from persons not used so far, who then are used."""
    basis = _Rank()
    for column in order:
        if basis.size == wanted:
            break
        if basis.holds(column):
            continue
        person = min(
            (one for one in seen[column] if one in places and one not in used),
            key=lambda one: (len(places[one]), one),
            default=None,
        )
        if person is not None:
            used.add(person)
            for other in places[person]:  # whoever is used may as well serve wherever they occur
                basis.add(other)
    return basis


class _Rank:
    """The space that columns of ones span."""

    def __init__(self) -> None:
        self._reduced: dict[int, dict[int, int]] = {}

    @property
    def size(self) -> int:
        """How many independent columns were added."""
        return len(self._reduced)

    def holds(self, column: _Column) -> bool:
        """Whether a column depends on those added."""
        return not self._reduce(dict.fromkeys(column, 1))

    def add(self, column: _Column) -> None:
        """Add a column."""
        vector = self._reduce(dict.fromkeys(column, 1))
        if vector:
            pivot = max(vector)
            inverse = pow(vector[pivot], -1, _PRIME)
            self._reduced[pivot] = {name: value * inverse % _PRIME for name, value in vector.items()}

    def missed_by(self, column: _Column) -> set[int]:
        """The numbers of a combination that is nothing on all columns added, but something on this one.

        What is left of a column at one place, once the added ones are taken off, is such a combination.
        """
        place = max(self._left_over(column))
        return {place} | {pivot for pivot in self._reduced if place in self._left_over((pivot,))}

    def _reduce(self, vector: dict[int, int]) -> dict[int, int]:
        """A vector without its part in the space, as far down as the first place that cannot be taken off."""
        while vector and (top := max(vector)) in self._reduced:
            self._subtract(vector, top)
        return vector

    def _left_over(self, column: _Column) -> dict[int, int]:
        """A column without its part in the space."""
        vector, kept = dict.fromkeys(column, 1), {}
        while vector:
            top = max(vector)
            if top in self._reduced:
                self._subtract(vector, top)
            else:
                kept[top] = vector.pop(top)
        return kept

    def _subtract(self, vector: dict[int, int], pivot: int) -> None:
        factor = vector[pivot]
        for name, value in self._reduced[pivot].items():
            left = (vector.get(name, 0) - factor * value) % _PRIME
            if left:
                vector[name] = left
            else:
                del vector[name]
