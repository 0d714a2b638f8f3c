"""Hidden numbers against a reader who combines all published numbers at once, with any factors.

The reader knows every number of the report and which combinations of groups have notes at all. Each
number is a sum over cells (combination of groups, what the note says); a hidden one can be worked out
exactly where its sum is a linear combination of the published sums (row space, by elimination modulo a
prime). A published nought empties its cells, and so does a share that equals its denominator.

Method: audit of a protected table by solving for the suppressed cells, as in the Statistical Disclosure
Control handbook (sdctools.github.io/HandbookSDC), chapter on tabular data; here in exact arithmetic.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from random import Random

import pytest
from test_audit_protection import FIGURES, LEAST, Place, facts

from converter.audit.counting import count
from converter.audit.figures import SIDE_CATEGORIES
from converter.audit.values import DIMENSIONS, NoteFacts, Result

PRIME = 2**61 - 1
Cell = tuple[tuple[str, ...], str, str]
"""Groups, which share the note counts in at last, and the sides that it documents."""
Vector = dict[int, int]
SHARES = ("note", "reflexes", "abnormal")
RESTS = {"no reflexes": "note", "no abnormal": "reflexes"}
"""What is left of a denominator, and the denominator."""

KINDS = [(share, "yes") for share in (*SHARES, *RESTS)] + [("sides", side) for side in SIDE_CATEGORIES]


def cell_of(one: NoteFacts) -> Cell:
    last = max(name for name in range(3) if SHARES[name] in one.marks)
    side = next((spread[1] for spread in one.spreads if spread[0] == "sides"), "")
    return one.groups, SHARES[last], side


def possible_cells(notes: Sequence[NoteFacts]) -> list[Cell]:
    groups = sorted({one.groups for one in notes})
    kinds = [("note", ""), *((share, side) for share in SHARES[1:] for side in SIDE_CATEGORIES)]
    return [(group, *kind) for group in groups for kind in kinds]


def is_at(cell: Cell, place: Place) -> bool:
    return place[0] == "all" or cell[0][list(DIMENSIONS).index(place[0])] == place[1]


def counts_in(cell: Cell, figure: str, category: str) -> bool:
    if figure in RESTS:
        return counts_in(cell, RESTS[figure], "yes") and not counts_in(
            cell, figure.removeprefix("no "), "yes"
        )
    if figure == "sides":
        return cell[2] == category
    return SHARES.index(cell[1]) >= SHARES.index(figure)


def published(results: Sequence[Result]) -> Iterator[tuple[str, str, Place, int]]:
    """Every number that a report shows: figure, category, place, number; denominators are numbers too."""
    for result in results:
        if result.figure.unit != "notes":
            continue  # grades are counted by grades, which are no sum of notes
        for row in result.rows:
            place = (row.dimension, row.group)
            for category, number in row.counts.items():
                if number is not None:
                    yield result.figure.figure, category, place, number
            if row.of is not None and result.figure.of:
                yield result.figure.of, "yes", place, row.of


class Reader:
    """What can be worked out from the published numbers."""

    def __init__(self, notes: Sequence[NoteFacts], results: Sequence[Result]) -> None:
        numbers = list(published(results))
        self.cells = list(enumerate(possible_cells(notes)))
        self._empty = set[int]()
        for figure, category, place, number in numbers:
            if number == 0:
                self._empty |= self._inside(place, figure, category)
        known = {(figure, category, place): number for figure, category, place, number in numbers}
        for (figure, category, place), number in known.items():
            for inner in (
                *((share, "yes") for share in SHARES),
                *(("sides", side) for side in SIDE_CATEGORIES),
            ):
                self._equal(known, place, (figure, category), inner, number)
        self._rows: list[tuple[int, Vector]] = []
        for figure, category, place, _ in numbers:
            self._add(self.vector(place, figure, category))

    def _equal(
        self,
        known: Mapping[tuple[str, str, Place], int],
        place: Place,
        outer: tuple[str, str],
        inner: tuple[str, str],
        number: int,
    ) -> None:
        """Where a number equals that of a part of it, the rest is empty."""
        if known.get((*inner, place)) == number:
            whole, part = self._inside(place, *outer), self._inside(place, *inner)
            if part < whole:
                self._empty |= whole - part

    def _inside(self, place: Place, figure: str, category: str) -> set[int]:
        return {at for at, cell in self.cells if is_at(cell, place) and counts_in(cell, figure, category)}

    def vector(self, place: Place, figure: str, category: str, also: Place = ("all", "all")) -> Vector:
        inside = self._inside(place, figure, category) & self._inside(also, figure, category)
        return dict.fromkeys(inside - self._empty, 1)

    def _reduced(self, vector: Vector) -> Vector:
        left = dict(vector)
        for lead, row in self._rows:
            factor = left.get(lead, 0)
            if factor:
                for at, value in row.items():
                    changed = (left.get(at, 0) - factor * value) % PRIME
                    left.pop(at, None)
                    if changed:
                        left[at] = changed
        return left

    def _add(self, vector: Vector) -> None:
        left = self._reduced(vector)
        if left:
            lead = min(left)
            inverse = pow(left[lead], -1, PRIME)
            self._rows.append((lead, {at: value * inverse % PRIME for at, value in left.items()}))

    def works_out(self, vector: Vector) -> bool:
        return not self._reduced(vector)


def attack(notes: Sequence[NoteFacts], least: int) -> list[str]:
    """The numbers resting on too few patients that a reader can work out."""
    reader = Reader(notes, count(notes, FIGURES, least, True))
    places = [
        ("all", "all"),
        *sorted({place for one in notes for place in zip(DIMENSIONS, one.groups, strict=True)}),
    ]
    pairs = [(one, ("all", "all")) for one in places] + [
        (one, other) for one, other in combinations(places[1:], 2) if one[0] != other[0]
    ]
    found = []
    for one, other in pairs:
        for figure, category in KINDS:
            patients = {
                note.patient
                for note in notes
                if is_at(cell_of(note), one)
                and is_at(cell_of(note), other)
                and counts_in(cell_of(note), figure, category)
            }
            if 0 < len(patients) < least and reader.works_out(reader.vector(one, figure, category, other)):
                found.append(f"{figure} {category} at {one} and {other}: {sorted(map(str, patients))}")
    return found


def random_archive(chance: Random, sizes: tuple[int, ...], patients: int, notes: int) -> list[NoteFacts]:
    """Notes with so many examiners, facilities, types and months."""
    return [
        facts(
            f"p{chance.randrange(patients)}",
            (
                f"E{chance.randrange(sizes[0])}",
                f"F{chance.randrange(sizes[1])}",
                f"K{chance.randrange(sizes[2])}",
                f"M{chance.randrange(sizes[3])}",
            ),
            chance.choice([set(), {"reflexes"}, {"reflexes", "abnormal"}]),
            "",
            chance.choice(list(SIDE_CATEGORIES)),
        )
        for _ in range(notes)
    ]


@pytest.mark.parametrize("seed", range(30))
def test_no_combination_of_published_numbers_gives_a_small_one(seed: int) -> None:
    chance = Random(seed)
    assert attack(random_archive(chance, (3, 3, 3, 3), 16, chance.randrange(3, 40)), LEAST) == []


@pytest.mark.parametrize("seed", range(6))
def test_larger_archives_withstand_the_same_reader(seed: int) -> None:
    chance = Random(seed)
    assert attack(random_archive(chance, (5, 3, 1, 2), 24, chance.randrange(40, 120)), LEAST) == []


def test_every_number_of_one_dimension_gives_the_whole_away() -> None:
    """By hand: all notes are hidden, but F1 and F2 add up to them (9 patients), and E1 and E2 (4 and 3) leave
    the 2 of E3: one of these four has to be hidden too."""
    notes = [
        *(facts(one, ("E1", "F1", "K", "M"), set()) for one in "abcd"),
        *(facts(one, ("E2", "F2", "K", "M"), set()) for one in "efg"),
        *(facts(one, ("E3", "F1", "K", "M"), set()) for one in "h"),
        *(facts(one, ("E3", "F2", "K", "M"), set()) for one in "i"),
    ]
    shown = {place for figure, _, place, number in published(count(notes, FIGURES, LEAST, True)) if number}
    assert not {("facility", "F1"), ("facility", "F2"), ("examiner", "E1"), ("examiner", "E2")} <= shown
    assert attack(notes, LEAST) == []


def test_the_reader_would_find_a_number_that_is_not_protected() -> None:
    """The attack is able: with every number published, a patient alone is found at once."""
    notes = [facts("a", ("E1", "F", "K", "M"), {"reflexes"}), facts("b", ("E2", "F", "K", "M"), set())]
    reader = Reader(notes, count(notes, FIGURES, 1, True))
    assert reader.works_out(reader.vector(("examiner", "E1"), "reflexes", "yes"))
