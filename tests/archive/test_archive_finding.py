"""Searching: what a query finds, what it must not find, and that nothing in a query is ever run as SQL."""

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from archive_notes import abnormality, finding, full_item, load_all, new_archive, note, read
from hypothesis import given, settings
from hypothesis import strategies as st

from converter.archive import (
    ABSENT_ANKLE_BRISK_KNEE,
    Archive,
    ArchiveError,
    Asymmetry,
    Change,
    CountRow,
    FindingKey,
    FindQuery,
    Sign,
    Together,
    count,
    find,
)
from converter.archive.finding import COUNTABLE
from converter.model import Exam, Finding

KNEE, ANKLE = "patellar", "achilles"


def found(archive: Archive, **query: Any) -> list[tuple[str, str, str, str]]:
    """Note, site, side and basis of each row."""
    return [(row.id, row.site, row.side, row.basis) for row in find(archive, FindQuery(**query))]


def ids(archive: Archive, **query: Any) -> set[str]:
    return {row.id for row in find(archive, FindQuery(**query))}


@pytest.fixture(scope="module")
def throughout(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    """`DTRs 2+ throughout except absent L AJ`."""
    said = (finding("all_limbs", "both", 2, finding="all"), finding(ANKLE, "left", 0, finding="aj"))
    return new_archive(
        tmp_path_factory.mktemp("shared"), read(note("n1", "DTRs 2+ throughout except absent L AJ"), *said)
    )


def test_throughout_answers_for_the_left_knee(throughout: Archive) -> None:
    (row,) = find(throughout, FindQuery(sites=(KNEE,), sides=("left",)))
    assert (row.basis, row.said_site, row.said_side, row.grade_low) == ("covered", "all_limbs", "both", 2)
    assert row.key == FindingKey(None, "n1", "all")


def test_an_exception_does_not_answer(throughout: Archive) -> None:
    rows = list(find(throughout, FindQuery(sites=(ANKLE,))))
    assert [(row.side, row.basis, row.grade_low) for row in rows] == [
        ("right", "covered", 2),
        ("left", "direct", 0),
    ]


def test_exact_leaves_out_what_is_only_covered(throughout: Archive) -> None:
    assert found(throughout, sites=(KNEE,), exact=True) == []
    assert found(throughout, sites=(ANKLE,), exact=True) == [("n1", ANKLE, "left", "direct")]
    assert len(found(throughout, sites=("all_limbs",), exact=True)) == 2


def test_without_a_site_each_finding_is_one_row_as_said(throughout: Archive) -> None:
    assert found(throughout) == [("n1", "all_limbs", "both", "direct"), ("n1", ANKLE, "left", "direct")]
    assert len(found(throughout, spread=True)) == 2 + 9 + 1


def test_both_sides_answer_for_each_side(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1"), finding(KNEE, "both", 2)))
    assert found(archive, sites=(KNEE,), sides=("right",)) == [("n1", KNEE, "right", "direct")]


@pytest.fixture(scope="module")
def several(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    """Four notes that differ in one thing each; the last says nothing current."""
    return new_archive(
        tmp_path_factory.mktemp("shared"),
        read(note("n1", authored="2024-03-05"), finding(KNEE, "left", 2), finding(ANKLE, "left", 1)),
        read(note("n2", patient="p2", author="a2", authored="2024-04"), finding(KNEE, "right", 3)),
        read(note("n3", patient="p3", facility="hillside", authored="2023", kind="progress"),
             finding(KNEE, "left", 2, grade_high=3.0, level=None),
             finding("plantar", "left", kind="plantar", response="extensor")),
        read(note("n4", patient=None, authored=None),
             finding(KNEE, "left", 3, scale="ninds", level="normal", status="historical"),
             finding(KNEE, "left", descriptor="brisk", level="high", certainty="uncertain", negated=True)),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("query", "wanted"),
    [
        ({"patients": ("p2",)}, {"n2"}),
        ({"patients": ("p1", "p3")}, {"n1", "n3"}),
        ({"notes": ("n4",)}, {"n4"}),
        ({"systems": (None,)}, {"n1", "n2", "n3", "n4"}),
        ({"systems": ("urn:a",)}, set()),
        ({"systems": ("urn:a", None)}, {"n1", "n2", "n3", "n4"}),
        ({"reflexes": ((ANKLE, "left"), (KNEE, "right"))}, {"n1", "n2"}),
        ({"reflexes": ((KNEE, None),)}, {"n1", "n2", "n3", "n4"}),
        ({"reflexes": ((KNEE, "both"),)}, set()),
        ({"any_scale": True, "grade_from": 3, "statuses": ()}, {"n2", "n4"}),
        ({"authors": ("a2",)}, {"n2"}),
        ({"facilities": ("hillside",)}, {"n3"}),
        ({"note_kinds": ("progress",)}, {"n3"}),
        ({"sites": (ANKLE,)}, {"n1"}),
        ({"sides": ("right",)}, {"n2"}),
        ({"kinds": ("plantar",)}, {"n3"}),
        ({"responses": ("extensor",)}, {"n3"}),
        ({"levels": ("high",)}, {"n2", "n4"}),
        ({"levels": ("low", "normal")}, {"n1"}),
        ({"descriptors": ("brisk",)}, {"n4"}),
        ({"certainties": ("uncertain",)}, {"n4"}),
        ({"negated": True}, {"n4"}),
        ({"negated": False, "sites": (KNEE,)}, {"n1", "n2", "n3"}),
        ({"statuses": ("historical",)}, {"n4"}),
        ({"scale": "bedside"}, {"n1", "n2", "n3"}),
        ({"scale": "ninds"}, set()),
        ({"scale": "ninds", "statuses": ()}, {"n4"}),
        ({"scale": "bedside", "grade_from": 3}, {"n2"}),
        ({"scale": "bedside", "grade_to": 1}, {"n1"}),
        ({"scale": "bedside", "grade_from": 2, "grade_to": 3}, {"n1", "n2", "n3"}),
        ({"scale": "bedside", "grade_from": 3, "statuses": ()}, {"n2"}),
        ({"date_from": "2024"}, {"n1", "n2"}),
        ({"date_from": "2024-03-05", "date_to": "2024-03-05"}, {"n1"}),
        ({"date_from": "2024-04-02"}, set()),
        ({"date_to": "2023"}, {"n3"}),
        ({"date_to": "2023-11"}, set()),
        ({"sites": (KNEE,), "sides": ("left",), "scale": "bedside", "grade_to": 2}, {"n1"}),
    ],
)  # fmt: skip
def test_each_filter_finds_what_it_says(several: Archive, query: dict[str, Any], wanted: set[str]) -> None:
    assert ids(several, **query) == wanted


def test_abnormalities_lead_to_the_findings_they_rest_on(tmp_path: Path) -> None:
    left, right = finding(KNEE, "left", 1), finding(KNEE, "right", 3)
    other, both = finding(ANKLE, "left", 2), (left.finding, right.finding)
    archive = new_archive(
        tmp_path,
        read(note("n1"), left, right, other, abnormalities=[replace(abnormality(left), rests_on=both)]),
        read(note("n2"), left),
    )  # fmt: skip
    query = FindQuery(abnormalities=("side-difference",))
    assert [row.finding for row in find(archive, query)] == [left.finding, right.finding]
    assert list(find(archive, FindQuery(abnormalities=("none-such",)))) == []


def test_a_grade_without_its_scale_is_refused(several: Archive) -> None:
    with pytest.raises(ArchiveError, match="name the scale"):
        find(several, FindQuery(grade_from=3))


@pytest.mark.parametrize("stated", ["yesterday", "2023-02-30", "24", "2024-1-1"])
def test_a_date_that_is_none_is_refused(several: Archive, stated: str) -> None:
    with pytest.raises(ArchiveError, match="A date is written"):
        find(several, FindQuery(date_from=stated))


def test_rows_come_by_patient_and_date_and_the_limit_cuts_them(tmp_path: Path) -> None:
    dated = [
        ("n1", "p2", "2024-02-01"),
        ("n2", "p1", "2024-03-01"),
        ("n3", "p1", "2023-03-01"),
        ("n4", None, None),
    ]
    items = [
        read(note(n, patient=p, authored=d), finding(ANKLE, "left", 2), finding(KNEE, "left", 2))
        for n, p, d in dated
    ]
    archive = new_archive(tmp_path, *items)
    rows = found(archive)
    assert [row[0] for row in rows] == ["n3", "n3", "n2", "n2", "n1", "n1", "n4", "n4"]
    assert [row[1] for row in rows[:2]] == [ANKLE, KNEE]
    assert found(archive, limit=3) == rows[:3]
    assert found(archive, limit=0) == []
    with pytest.raises(ArchiveError, match="limit"):
        find(archive, FindQuery(limit=-1))


def test_only_current_readings_are_found(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1", "KJ 2+"), finding(KNEE, "left", 2)))
    load_all(archive, [read(note("n1", "AJ 2+"), finding(ANKLE, "left", 2))], "run-2")
    assert ids(archive, sites=(KNEE,)) == set()
    assert ids(archive, sites=(ANKLE,)) == {"n1"}


def test_counts_by_columns(several: Archive) -> None:
    rows = list(count(several, FindQuery(sites=(KNEE,)), by=("side", "grade")))
    assert rows == [
        CountRow(("left", "2"), 1, 1, 1),
        CountRow(("left", "2-3"), 1, 1, 1),
        CountRow(("left", None), 1, 1, 0),
        CountRow(("right", "3"), 1, 1, 1),
    ]
    assert list(count(several, FindQuery())) == [CountRow((), 6, 4, 3)]
    by_year = [(row.group[0], row.notes) for row in count(several, FindQuery(), by=("year",))]
    assert by_year == [("2023", 1), ("2024", 2), (None, 1)]
    by_month = [(row.group[0], row.notes) for row in count(several, FindQuery(), by=("month",))]
    assert by_month == [("2024-03", 1), ("2024-04", 1), (None, 2)]


@pytest.mark.parametrize("name", sorted(COUNTABLE))
@pytest.mark.parametrize("sites", [(), (KNEE,)])
def test_everything_countable_can_be_counted_by(several: Archive, name: str, sites: tuple[str, ...]) -> None:
    rows = list(count(several, FindQuery(sites=sites, statuses=()), by=(name,)))
    assert sum(row.rows for row in rows) == len(list(find(several, FindQuery(sites=sites, statuses=()))))


def test_counting_by_anything_else_is_refused(several: Archive) -> None:
    with pytest.raises(
        ArchiveError, match=r"Counting by 'text; DROP TABLE notes' is not possible; choose from site,"
    ):
        count(several, FindQuery(), by=("text; DROP TABLE notes",))


HOSTILE = [
    "' OR 1=1 --",
    "'; DROP TABLE findings; --",
    "p1' UNION SELECT text FROM notes --",
    "?",
    "$1",
    "{0}",
    "%",
]
TEXT_FIELDS = [
    "notes", "patients", "authors", "facilities", "note_kinds", "sites", "sides", "kinds",
    "levels",
    "descriptors", "responses", "statuses", "certainties", "abnormalities",
]  # fmt: skip


@pytest.mark.parametrize("text", HOSTILE)
def test_nothing_in_a_query_is_run_as_sql(several: Archive, text: str) -> None:
    before = len(found(several, statuses=()))
    for name in TEXT_FIELDS:
        assert found(several, **{"statuses": (), name: (text,)}) == []
    for more in ({"scale": text}, {"systems": (text,)}, {"reflexes": ((text, text), (text, None))}):
        assert found(several, **more) == []
    for pattern in (
        Asymmetry(1, text),
        Change(1, 5, text, text),
        Together(Sign(text, (text,)), Sign(text, (text,))),
    ):
        assert found(several, patterns=(pattern,)) == []
    assert len(found(several, statuses=())) == before


def test_every_text_field_of_a_query_is_tried_above() -> None:
    graded = ["scale", "any_scale", "grade_from", "grade_to", "negated", "date_from", "date_to"]
    others = ["systems", "reflexes", *graded]
    assert {field.name for field in fields(FindQuery)} == {
        *others,
        *TEXT_FIELDS,
        "exact",
        "spread",
        "patterns",
        "limit",
    }


def test_half_characters_in_a_query_are_refused_plainly(several: Archive) -> None:
    with pytest.raises(ArchiveError, match="could not be searched"):
        list(find(several, FindQuery(patients=("\ud800",))))


def test_two_searches_can_be_read_side_by_side(throughout: Archive) -> None:
    first, second = find(throughout, FindQuery(spread=True)), find(throughout, FindQuery(spread=True))
    assert list(zip(first, second, strict=True)) == [
        (row, row) for row in find(throughout, FindQuery(spread=True))
    ]


def pair(left: float, right: float, site: str = ANKLE, **more: Any) -> tuple[Finding, Finding]:
    return finding(site, "left", left, **more), finding(site, "right", right, **more)


def test_asymmetry_of_at_least_n_at_a_site(tmp_path: Path) -> None:
    archive = new_archive(
        tmp_path,
        read(note("apart"), *pair(0, 2)),
        read(note("one-apart"), *pair(1, 2)),
        read(note("at-the-knee"), *pair(0, 2, KNEE), *pair(2, 2)),
        read(note("ranges"), finding(ANKLE, "left", 0, grade_high=1.0), finding(ANKLE, "right", 2)),
        read(note("scales"), finding(ANKLE, "left", 0), finding(ANKLE, "right", 2, scale="ninds")),
        read(note("old"), *pair(0, 2, status="historical")),
        read(note("denied"), *pair(0, 2, negated=True)),
        read(note("aid"), finding(ANKLE, "left", 2, reinforcement="only_with"), finding(ANKLE, "right", 0)),
        read(note("covered"), finding("all_limbs", "both", 2), finding(ANKLE, "left", 0)),
        read(
            note("two-exams"), finding(ANKLE, "left", 0), finding(ANKLE, "right", 2, exam=2),
            exams=tuple(Exam(exam=n, status=s, start=0, end=1) for n, s in ((1, "current"), (2, "past"))),
        ),
    )  # fmt: skip
    assert ids(archive, patterns=(Asymmetry(2, ANKLE),)) == {"apart", "covered"}
    assert ids(archive, patterns=(Asymmetry(1, ANKLE),)) == {"apart", "covered", "one-apart", "ranges"}
    assert ids(archive, patterns=(Asymmetry(2),)) == {"apart", "covered", "at-the-knee"}
    rows = [row for row in find(archive, FindQuery(patterns=(Asymmetry(2, ANKLE),))) if row.id == "covered"]
    assert [(row.site, row.side, row.basis, row.grade_low) for row in rows] == [
        (ANKLE, "right", "covered", 2),
        (ANKLE, "left", "direct", 0),
    ]


def test_absent_ankle_with_brisk_knee(tmp_path: Path) -> None:
    archive = new_archive(
        tmp_path,
        read(note("same-side"), finding(ANKLE, "left", 0), finding(KNEE, "left", 3)),
        read(note("clonus"), finding(ANKLE, "both", 0), finding(KNEE, "both", 4)),
        read(note("other-side"), finding(ANKLE, "left", 0), finding(KNEE, "right", 3)),
        read(note("normal"), finding(ANKLE, "left", 0), finding(KNEE, "left", 2)),
        read(
            note("words"),
            finding(ANKLE, "left", descriptor="absent", level="absent"),
            finding(KNEE, "left", 3),
        ),
    )
    assert ids(archive, patterns=(ABSENT_ANKLE_BRISK_KNEE,)) == {"same-side", "clonus", "words"}
    anywhere = replace(ABSENT_ANKLE_BRISK_KNEE, same_side=False)
    assert ids(archive, patterns=(anywhere,)) == {"same-side", "clonus", "words", "other-side"}


@pytest.fixture(scope="module")
def course(tmp_path_factory: pytest.TempPathFactory) -> Archive:
    """Three visits of one patient, and one of another."""
    visits = [
        ("v1", "p1", "2024-01-01", 2), ("v2", "p1", "2024-01-31", 0), ("v3", "p1", "2024-06-01", 3),
        ("w1", "p2", "2024-01-10", 4), ("x1", "p3", "2024-01", 0), ("x2", "p3", "2024-02-01", 3),
        ("y1", None, "2024-01-01", 0), ("y2", None, "2024-01-02", 3),
    ]  # fmt: skip
    items = [read(note(n, patient=p, authored=d), finding(KNEE, "left", grade)) for n, p, d, grade in visits]
    return new_archive(tmp_path_factory.mktemp("shared"), *items)


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        (Change(2, 30, KNEE), {"v1", "v2"}),
        (Change(2, 29, KNEE), set()),
        (Change(3, 365), {"v2", "v3"}),
        (Change(1, 365), {"v1", "v2", "v3"}),
        (Change(1, 365, direction="down"), {"v1", "v2"}),
        (Change(1, 365, direction="up"), {"v1", "v2", "v3"}),
        (Change(1, 152, direction="up"), {"v1", "v2", "v3"}),
        (Change(1, 121, direction="up"), set()),
        (Change(1, 365, KNEE, "right"), set()),
    ],
)
def test_changed_by_n_within_m_days(course: Archive, change: Change, wanted: set[str]) -> None:
    assert ids(course, patterns=(change,)) == wanted


def test_a_change_of_unknown_direction_is_refused(course: Archive) -> None:
    with pytest.raises(ArchiveError, match="up, down, or any way"):
        find(course, FindQuery(patterns=(Change(1, 5, direction="sideways; --"),)))


def test_patterns_combine_within_one_exam(tmp_path: Path) -> None:
    archive = new_archive(
        tmp_path,
        read(note("both"), *pair(0, 2), finding(KNEE, "left", 3), finding("biceps", "left", 2)),
        read(note("asymmetric"), *pair(0, 2), finding(KNEE, "left", 2)),
        read(note("absent"), *pair(0, 0), finding(KNEE, "left", 3)),
    )
    patterns = (Asymmetry(2, ANKLE), ABSENT_ANKLE_BRISK_KNEE)
    assert [row[1:3] for row in found(archive, patterns=patterns)] == [
        (ANKLE, "left"),
        (ANKLE, "right"),
        (KNEE, "left"),
    ]
    assert found(archive, patterns=patterns, sites=("biceps",)) == [("both", "biceps", "left", "direct")]
    assert found(archive, patterns=patterns, patients=("p9",)) == []
    assert found(archive, patterns=patterns, levels=("absent",)) == [("both", ANKLE, "left", "direct")]


GRADES = st.sampled_from([0, 1, 2, 3, 4])


SAID = st.tuples(st.sampled_from([KNEE, ANKLE]), st.sampled_from(["left", "right", "both"]), GRADES)


@given(
    st.lists(st.lists(SAID, max_size=6), min_size=20, max_size=40),
    st.sampled_from([KNEE, ANKLE]),
    st.integers(1, 4),
)
@settings(max_examples=5, deadline=None)
def test_asymmetry_agrees_with_a_plain_loop(
    tmp_path_factory: Any, exams: list[list[tuple[str, str, int]]], site: str, apart: int
) -> None:
    findings = [
        [finding(where, side, grade, finding=f"f{place}") for place, (where, side, grade) in enumerate(said)]
        for said in exams
    ]
    items = [read(note(f"n{number}"), *said) for number, said in enumerate(findings)]
    with new_archive(tmp_path_factory.mktemp("law"), *items) as archive:
        rows = find(archive, FindQuery(patterns=(Asymmetry(apart, site),)))
        shown = {(row.id, row.finding, row.side) for row in rows}
    assert shown == {
        (f"n{number}", name, side)
        for number, said in enumerate(findings)
        for name, side in asymmetric_ends(said, site, apart)
    }


def asymmetric_ends(said: list[Finding], site: str, apart: int) -> set[tuple[str, str]]:
    ends = [
        (one.finding, side, one.grade_low or 0)
        for one in said
        if one.site == site
        for side in (("left", "right") if one.side == "both" else (one.side,))
    ]
    return {
        (name, side)
        for name, side, grade in ends
        for _, other, against in ends
        if side != other and abs(grade - against) >= apart
    }


def test_a_row_shows_the_finding_as_it_was_read(tmp_path: Path) -> None:
    about, reading, _ = full_item()
    archive = new_archive(tmp_path, full_item())
    (row,) = find(archive, FindQuery(statuses=()))
    (said,) = reading.findings
    renamed = {"start_offset": "start", "end_offset": "end", "said_site": "site", "said_side": "side"}
    for field in row._fields:
        name = renamed.get(field, field)
        if name == "note_kind":
            assert row.note_kind == about.kind
        elif name != "basis":
            assert getattr(row, field) == getattr(said if hasattr(said, name) else about, name), name
