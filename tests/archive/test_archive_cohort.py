"""Choosing notes as `find` does: in a fixed order, whole, with and without findings."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from archive_copies import copied
from archive_notes import abnormality, finding, load_all, new_archive, note, read

from converter.archive import Archive, ArchiveError, Cohort, FindQuery, Item, open_archive

KNEE, ANKLE = finding("patellar", "left", 3), finding("achilles", "left", 0, finding="achilles-left-0")
ITEMS: tuple[Item, ...] = (
    read(note("late", patient="p1", authored="2031-05-01"), KNEE, ANKLE),
    read(note("early", patient="p1", authored="2031-04"), KNEE),
    read(note("timeless", patient="p1", authored=None)),
    read(note("other", patient="p0", facility="hillside"), ANKLE, abnormalities=[abnormality(ANKLE)]),
    read(note("nobody", patient=None, system="urn:example:b"), KNEE),
    read(note("nothing", patient="p2")),
)


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    path = copied(tmp_path / "archive.duckdb", "cohort", lambda _: new_archive(tmp_path, *ITEMS).close())
    with open_archive(path) as opened:
        yield opened


def chosen(archive: Archive, by_findings: bool = False, skip: int = 0, **asked: Any) -> list[str]:
    query = FindQuery(**asked)
    return [one[0].id for one in Cohort(archive, query, by_findings).reads(skip)]


def test_all_notes_come_by_patient_and_time(archive: Archive) -> None:
    assert chosen(archive) == ["other", "early", "late", "timeless", "nothing", "nobody"]


def test_notes_come_back_as_they_went_in(archive: Archive) -> None:
    given = {item[0].id: item for item in ITEMS if isinstance(item, tuple)}
    assert {one[0].id: one for one in Cohort(archive, FindQuery()).reads()} == given


@pytest.mark.parametrize("skip", range(8))
def test_the_notes_after_the_first_few(archive: Archive, skip: int) -> None:
    assert chosen(archive, skip=skip) == chosen(archive)[skip:]


@pytest.mark.parametrize(
    ("asked", "ids"),
    [
        ({"patients": ("p1",)}, ["early", "late", "timeless"]),
        ({"facilities": ("hillside",)}, ["other"]),
        ({"date_from": "2031-04-01"}, ["early", "late"]),
        ({"date_to": "2031-04-30"}, ["other", "early", "nothing", "nobody"]),
        ({"systems": ("urn:example:b",)}, ["nobody"]),
        ({"notes": ("nothing",)}, ["nothing"]),
        ({"limit": 2}, ["other", "early"]),
        ({"limit": 0}, []),
    ],
)
def test_what_is_asked_of_the_note_chooses_notes_without_findings_too(
    archive: Archive, asked: dict[str, Any], ids: list[str]
) -> None:
    assert chosen(archive, **asked) == ids


@pytest.mark.parametrize(
    ("asked", "ids"),
    [
        ({"sites": ("achilles",)}, ["other", "late"]),
        ({"sites": ("patellar",), "patients": ("p1",)}, ["early", "late"]),
        ({"levels": ("absent",)}, ["other", "late"]),
        ({"abnormalities": ("side-difference",)}, ["other"]),
        ({"sites": ("achilles",), "limit": 1}, ["other"]),
        ({"statuses": ("historical",)}, []),
    ],
)
def test_what_is_asked_of_a_finding_chooses_the_notes_that_hold_one(
    archive: Archive, asked: dict[str, Any], ids: list[str]
) -> None:
    assert chosen(archive, **asked) == ids


def test_all_findings_of_a_chosen_note_come_along(archive: Archive) -> None:
    (read_back,) = Cohort(archive, FindQuery(sites=("achilles",), patients=("p1",))).reads()
    assert [one.site for one in read_back[1].findings] == ["patellar", "achilles"]


def test_only_notes_with_a_finding_where_that_is_wanted(archive: Archive) -> None:
    assert chosen(archive, by_findings=True) == ["other", "early", "late", "nobody"]


@pytest.mark.parametrize("asked", [{"date_to": "soon"}, {"date_from": "2031-13"}])
def test_what_is_no_date_is_refused(archive: Archive, asked: dict[str, Any]) -> None:
    with pytest.raises(ArchiveError, match="A date is written"):
        chosen(archive, **asked)


def test_a_query_that_contradicts_itself_is_refused(archive: Archive) -> None:
    with pytest.raises(ArchiveError, match="name the scale"):
        chosen(archive, grade_from=3.0)


def test_the_state_tells_when_the_chosen_notes_changed(archive: Archive) -> None:
    patient, everyone = Cohort(archive, FindQuery(patients=("p1",))), Cohort(archive, FindQuery())
    before = patient.state(), everyone.state()
    assert before == (patient.state(), everyone.state())
    load_all(archive, [read(note("new", patient="p9"), KNEE)], "r2")
    assert patient.state() == before[0]
    assert everyone.state() != before[1]
    load_all(archive, [read(note("early", "KJ 1+", patient="p1", authored="2031-04"))], "r3")
    assert patient.state() != before[0]
