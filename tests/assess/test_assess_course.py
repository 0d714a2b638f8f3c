"""The course of one patient: what changed, over which interval, by whom and on which scale."""

import pytest
from assess_findings import VOCABULARY, both, finding, note, reading

from converter.assess import AssessOptions, course_grid, course_of, course_record
from converter.model import Course, Finding


def course(
    *visits: list[Finding],
    dates: tuple[str | None, ...] = ("2024-03-02", "2024-03-09", "2024-06-01"),
    authors: tuple[str | None, ...] = ("ex-1", "ex-1", "ex-1"),
    options: AssessOptions | None = None,
) -> Course:
    seen = []
    for number, findings in enumerate(visits):
        of = note(id=f"n-{number + 1}", authored=dates[number], author=authors[number])
        seen.append((of, reading(findings, of)))
    return course_of(seen, VOCABULARY, options)


def changes(found: Course) -> set[tuple[str, tuple[str, ...], str]]:
    return {(change.code, change.sites, change.side) for change in found.changes}


def test_three_everywhere_that_becomes_one_a_week_later_is_called_out() -> None:
    """Common practice, no source: neither exam is abnormal by itself."""
    found = course([both("all_limbs", 3, plus="trailing")], [both("all_limbs", 1, plus="trailing")])
    general = found.changes[0]
    assert (general.code, general.direction, general.size, general.days) == (
        "generalised-change",
        "down",
        2,
        7,
    )
    assert (general.same_examiner, general.same_scale) == (True, True)
    assert set(general.sites) == {"biceps", "brachioradialis", "triceps", "patellar", "achilles"}
    assert "28 %" in found.caution


def test_areflexia_that_returns_and_increases_is_a_reversal() -> None:
    """C23: Guttmann, Spinal Cord Injuries, p. 228, case 2 (cord lesion at C7, spinal shock)."""
    found = course(
        [both("all_limbs", None, "absent"), both("plantar", response="flexor")],
        [both("triceps", 1), both("patellar", 3), both("achilles", 3)],
    )
    codes = {change.code for change in found.changes}
    assert "reversal-over-time" in codes
    reversed_sites = {site for c in found.changes if c.code == "reversal-over-time" for site in c.sites}
    assert reversed_sites == {"patellar", "achilles"}


def test_an_ankle_reflex_that_comes_back_is_a_change() -> None:
    """C15: Clin Neurophysiol Pract 2018, 10.1016/j.cnp.2018.09.001 (absent, then found on repeat)."""
    found = course([both("achilles", None, "absent")], [both("achilles", None, "normal")])
    assert changes(found) == {("change-over-time", ("achilles",), "both")}
    (change,) = found.changes
    assert (change.size, change.same_scale, change.direction) == (None, None, "up")


def test_slow_relaxation_that_goes_leaves_no_change_of_strength() -> None:
    """C18: a published case of low thyroid function, gertitashkomd.com/blog/2019/3/9."""
    found = course([both("achilles", quality="delayed_relaxation")], [both("achilles", None, "normal")])
    assert not found.changes


def test_one_grade_is_no_change() -> None:
    assert not course([both("patellar", 2)], [both("patellar", 3)]).changes


def test_one_grade_is_a_change_where_a_site_says_so() -> None:
    found = course([both("patellar", 2)], [both("patellar", 3)], options=AssessOptions(change=1))
    assert changes(found) == {("change-over-time", ("patellar",), "both")}


def test_one_level_between_words_is_no_change() -> None:
    assert not course([both("patellar", None, "diminished")], [both("patellar", None, "normal")]).changes


def test_a_change_of_most_reflexes_is_no_change_of_all() -> None:
    later = [both("upper_limb_all", 1), both("patellar", 1), both("achilles", 3)]
    found = course([both("all_limbs", 3)], later)
    assert "generalised-change" not in {change.code for change in found.changes}
    assert "change-over-time" in {change.code for change in found.changes}


def test_a_slow_change_is_found_between_first_and_last() -> None:
    found = course([both("patellar", 3)], [both("patellar", 2)], [both("patellar", 1)])
    assert {(change.before, change.after) for change in found.changes} == {(0, 2)}


def test_a_new_side_difference() -> None:
    found = course([both("patellar", 2)], [finding("patellar", "left", 2), finding("patellar", "right", 1)])
    assert changes(found) == {("new-side-difference", ("patellar",), "right")}


def test_a_side_difference_that_was_there_before_is_not_new() -> None:
    differing = [finding("patellar", "left", 2), finding("patellar", "right", 1)]
    assert not course(differing, differing).changes


def test_another_scale_is_compared_by_level_and_said() -> None:
    found = course([both("patellar", 0)], [both("patellar", 3, scale="ninds")])
    (change,) = found.changes
    assert (change.code, change.size, change.same_scale) == ("change-over-time", None, False)
    assert change.certainty == "uncertain"


def test_the_same_numeral_on_another_scale_is_no_change() -> None:
    assert not course([both("patellar", 2)], [both("patellar", 3, scale="ninds")]).changes


def test_a_range_that_overlaps_is_no_sure_change() -> None:
    assert not course([both("patellar", (0, 2))], [both("patellar", 3)]).changes


@pytest.mark.parametrize(
    ("authors", "same", "words"),
    [
        (("ex-1", "ex-1"), True, "same examiner"),
        (("ex-1", "ex-2"), False, "another examiner"),
        (("ex-1", None), None, "examiner not known"),
    ],
)
def test_the_examiner_is_named_the_same_another_or_not_known(
    authors: tuple[str | None, ...], same: bool | None, words: str
) -> None:
    (change,) = course([both("patellar", 1)], [both("patellar", 3)], authors=authors).changes[:1]
    assert change.same_examiner is same
    assert words in change.sentence


@pytest.mark.parametrize("when", [None, "2024", "2024-03"])
def test_an_interval_is_given_only_where_both_days_are_known(when: str | None) -> None:
    found = course([both("patellar", 1)], [both("patellar", 3)], dates=("2024-03-02", when))
    assert all(change.days is None for change in found.changes)
    assert "interval not known" in found.changes[0].sentence


def test_visits_are_put_in_order_of_time() -> None:
    found = course([both("patellar", 3)], [both("patellar", 1)], dates=("2024-03-09", "2024-03-02"))
    assert [visit.note for visit in found.visits] == ["n-2", "n-1"]
    assert found.changes[0].direction == "up"


def test_a_region_without_a_side_is_compared_with_both_sides() -> None:
    found = course([finding("lower_limb_all", "unspecified", 0)], [both("patellar", 2), both("achilles", 2)])
    assert changes(found) == {
        ("change-over-time", ("patellar",), "both"),
        ("change-over-time", ("achilles",), "both"),
    }


def test_a_change_that_the_examiner_states() -> None:
    found = course([both("patellar", 2)], [finding("patellar", "left", comparison="greater_than_before")])
    (change,) = found.changes
    assert (change.code, change.side, change.direction, change.size) == (
        "change-over-time",
        "left",
        "up",
        None,
    )


def test_rules_can_be_left_out() -> None:
    options = AssessOptions(rules_left_out=frozenset({"change-over-time", "reversal-over-time"}))
    found = course([both("patellar", 0)], [both("patellar", 3)], options=options)
    assert not found.changes


def test_notes_of_several_patients_are_said_to_be_none_of_one() -> None:
    seen = [(note(id=p, patient=p), reading([both("patellar", 2)], note(id=p))) for p in ("p-1", "p-2")]
    found = course_of(seen, VOCABULARY)
    assert found.patient is None
    assert {diagnostic.code for diagnostic in found.diagnostics} == {"several-patients"}


def test_the_grid_shows_each_value_as_written_and_the_cautions() -> None:
    found = course([both("patellar", 3, plus="trailing")], [finding("patellar", "left", 1, plus="trailing")])
    text = course_grid(found)
    rows = {line.split("  ")[1]: line.split() for line in text.splitlines() if line.startswith("  patellar")}
    assert rows["patellar left"][-2:] == ["3+", "1+"]
    assert rows["patellar right"][-2:] == ["3+", "."]
    assert "2024-03-02" in text
    assert "not a diagnosis" in text
    assert "rule reversal-over-time" in course_grid(found, why=True)


def test_the_record_is_plain() -> None:
    import json

    record = course_record(course([both("patellar", 1)], [both("patellar", 3)]))
    assert json.loads(json.dumps(record)) == record
    assert record["changes"][0]["size"] == 2
