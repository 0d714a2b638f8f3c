"""Hiding small numbers: by hand, and against every subtraction that a reader could try."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from hypothesis import given, settings
from hypothesis import strategies as st

from converter.audit.counting import count
from converter.audit.figures import SIDE_CATEGORIES
from converter.audit.values import DIMENSIONS, Figure, NoteFacts, Result

LEAST = 3
FIGURES = (
    Figure(figure="note", topic="t", title="notes", meaning=""),
    Figure(figure="reflexes", topic="t", title="reflexes", meaning="", of="note"),
    Figure(figure="abnormal", topic="t", title="abnormal", meaning="", of="reflexes"),
    Figure(
        figure="grades",
        topic="t",
        title="grades",
        meaning="",
        unit="grades",
        categories={"1": "1", "2": "2", "3": "3"},
    ),
    Figure(figure="sides", topic="t", title="sides", meaning="", of="reflexes", categories=SIDE_CATEGORIES),
)
Place = tuple[str, str]


def facts(
    patient: str, groups: tuple[str, str, str, str], marks: set[str], grades: str = "", sides: str = "both"
) -> NoteFacts:
    return NoteFacts(
        system=None,
        id="",
        patient=patient,
        groups=groups,
        authored=None,
        marks=frozenset(marks | {"note"}),
        spreads=(
            *(("grades", grade, grades.count(grade)) for grade in sorted(set(grades))),
            *((("sides", sides, 1),) if "reflexes" in marks else ()),
        ),
    )


def shown(results: Sequence[Result], figure: str, category: str = "yes") -> dict[Place, int | None]:
    result = next(one for one in results if one.figure.figure == figure)
    return {(row.dimension, row.group): row.counts[category] for row in result.rows}


def many(patients: Sequence[str], examiner: str, marks: set[str]) -> list[NoteFacts]:
    return [facts(one, (examiner, "F", "K", "M"), marks) for one in patients]


def test_a_single_small_group_takes_another_with_it() -> None:
    """By hand: EX-3 has two patients. Hidden alone, 9 less 4 less 3 gives it back; EX-2 goes as well."""
    notes = [*many("abcd", "EX-1", set()), *many("efg", "EX-2", set()), *many("hi", "EX-3", set())]
    numbers = shown(count(notes, FIGURES, LEAST, True), "note")
    assert numbers["all", "all"] == 9
    assert numbers["examiner", "EX-1"] == 4
    assert numbers["examiner", "EX-2"] is None
    assert numbers["examiner", "EX-3"] is None


def test_patients_count_and_not_notes() -> None:
    """By hand: eight notes of two patients rest on two patients."""
    notes = [*many("ab" * 4, "EX-1", set()), *many("cdefgh", "EX-2", set())]
    numbers = shown(count(notes, FIGURES, LEAST, True), "note")
    assert numbers["examiner", "EX-1"] is None


def test_a_denominator_does_not_give_its_rest_away() -> None:
    """By hand: 5 of 6 patients abnormal would tell of the one who is not; one of the two numbers goes."""
    notes = [*many("abcde", "EX-1", {"reflexes", "abnormal"}), *many("f", "EX-1", {"reflexes"})]
    results = count(notes, FIGURES, LEAST, True)
    assert shown(results, "reflexes")["all", "all"] == 6
    assert shown(results, "abnormal")["all", "all"] is None


def test_a_facility_less_its_examiners_is_protected() -> None:
    """By hand: at F1 work EX-1 (4 patients) and EX-2 (2); all 6 of F1 less EX-1 would give EX-2."""
    notes = [
        *(facts(one, ("EX-1", "F1", "K", "M"), set()) for one in "abcd"),
        *(facts(one, ("EX-2", "F1", "K", "M"), set()) for one in "ef"),
        *(facts(one, ("EX-3", "F2", "K", "M"), set()) for one in "ghij"),
        *(facts(one, ("EX-4", "F2", "K", "M"), set()) for one in "kl"),
    ]
    numbers = shown(count(notes, FIGURES, LEAST, True), "note")
    assert numbers["examiner", "EX-1"] is None or numbers["facility", "F1"] is None


def test_nothing_is_hidden_where_that_is_not_wanted() -> None:
    numbers = shown(count(many("a", "EX-1", set()), FIGURES, 1, True), "note")
    assert set(numbers.values()) == {1}


def test_nobody_is_nobodys_secret() -> None:
    numbers = shown(count(many("abcd", "EX-1", set()), FIGURES, LEAST, True), "abnormal")
    assert numbers["examiner", "EX-1"] == 0


NOTES = st.lists(
    st.builds(
        facts,
        st.sampled_from("abcdefghijklmnop"),
        st.tuples(*(st.sampled_from([f"{name}-{at}" for at in range(3)]) for name in DIMENSIONS)),
        st.sampled_from([set(), {"reflexes"}, {"reflexes", "abnormal"}]),
        st.sampled_from(["", "2", "22", "23", "123"]),
        st.sampled_from(list(SIDE_CATEGORIES)),
    ),
    max_size=60,
)


@settings(max_examples=150, deadline=None)
@given(NOTES)
def test_no_subtraction_leaves_too_few_patients(notes: list[NoteFacts]) -> None:
    """Every published number, every whole less published parts, every denominator less its share."""
    results = count(notes, FIGURES, LEAST, True)
    for published in _attackable(notes, results):
        for patients in _differences(notes, published):
            assert not 0 < len(patients) < LEAST


def _attackable(notes: Sequence[NoteFacts], results: Sequence[Result]) -> Iterator[dict[Place, set[int]]]:
    """For each number a reader can form place by place: which notes it counts where it is published."""
    parents = {figure.figure: figure.of for figure in FIGURES}
    for name in ("note", "reflexes", "abnormal"):
        mine = {place for place, number in shown(results, name).items() if number}
        yield {place: _at(notes, place, {name}) for place in mine}
        parent = parents[name]
        if parent:
            known = {place for place, number in shown(results, name).items() if number is not None}
            both = {place for place in known if shown(results, parent)[place]}
            yield {place: _at(notes, place, {parent}) - _at(notes, place, {name}) for place in both}
    for name, categories in (("grades", "123"), ("sides", SIDE_CATEGORIES)):
        for category in categories:
            mine = {place for place, number in shown(results, name, category).items() if number}
            yield {place: _in_category(notes, place, name, category) for place in mine}
    yield _hidden_sides(notes, results)


def _hidden_sides(notes: Sequence[NoteFacts], results: Sequence[Result]) -> dict[Place, set[int]]:
    """What is left of the notes with reflexes when the published sides are taken off."""
    result = next(one for one in results if one.figure.figure == "sides")
    left: dict[Place, set[int]] = {}
    for row in result.rows:
        if row.of:
            place = (row.dimension, row.group)
            hidden = [side for side, number in row.counts.items() if number is None]
            if len(hidden) < len(row.counts):  # where all are hidden, what is left is the denominator itself
                left[place] = set().union(*(_in_category(notes, place, "sides", side) for side in hidden))
    return left


@settings(deadline=None)
@given(NOTES)
def test_the_sum_of_grades_tells_nothing_of_hidden_ones(notes: list[NoteFacts]) -> None:
    result = next(one for one in count(notes, FIGURES, LEAST, True) if one.figure.figure == "grades")
    for row in result.rows:
        assert not row.of or row.of == sum(number or 0 for number in row.counts.values())


def _at(notes: Sequence[NoteFacts], place: Place, marks: set[str]) -> set[int]:
    return {at for at, one in enumerate(notes) if marks <= one.marks and _is_at(one, place)}


def _in_category(notes: Sequence[NoteFacts], place: Place, figure: str, category: str) -> set[int]:
    return {
        at
        for at, one in enumerate(notes)
        if _is_at(one, place) and any(spread[:2] == (figure, category) for spread in one.spreads)
    }


def _is_at(one: NoteFacts, place: Place) -> bool:
    dimension, group = place
    return dimension == "all" or one.groups[list(DIMENSIONS).index(dimension)] == group


def _differences(notes: Sequence[NoteFacts], published: dict[Place, set[int]]) -> Iterator[set[str | None]]:
    """The patients of each number, of a whole less parts inside it, and of parts less a whole inside them."""
    for whole, counted in published.items():
        yield _patients(notes, counted)
        for dimension in ("all", *DIMENSIONS):
            groups = [place for place in published if place[0] == dimension and place != whole]
            for size in range(1, len(groups) + 1):
                for parts in combinations(groups, size):
                    together = set().union(*(published[part] for part in parts))
                    if together <= counted:
                        yield _patients(notes, counted - together)
                    if counted <= together:
                        yield _patients(notes, together - counted)


def _patients(notes: Sequence[NoteFacts], counted: set[int]) -> set[str | None]:
    return {notes[at].patient for at in counted}
