"""Merged patients: their notes move, now and in later loads, and nothing else changes."""

from pathlib import Path

import pytest
from archive_notes import finding, load_all, new_archive, note, read

from converter.archive import Archive, ArchiveError, FindQuery, Link, find, relink, stored_readings

AT = "2031-05-01T08:00:00Z"


def three(folder: Path) -> Archive:
    return new_archive(
        folder,
        *(
            read(note(f"n{at}", f"KJ {at}+", patient=f"p{at}"), finding("patellar", "left", at))
            for at in (1, 2, 3)
        ),
    )


def patients(archive: Archive) -> dict[str, str | None]:
    return {one.id: one.patient for one, _, _ in stored_readings(archive)}


def test_notes_move_and_their_source_stays_known(tmp_path: Path) -> None:
    with three(tmp_path) as archive:
        runs = archive.connection.execute("FROM run_log").fetchall()
        assert relink(archive, [Link("p1", "p2")], "r1", AT) == [1]
        assert patients(archive) == {"n1": "p2", "n2": "p2", "n3": "p3"}
        assert {row.id for row in find(archive, FindQuery(patients=("p2",)))} == {"n1", "n2"}
        assert archive.connection.execute("FROM run_log").fetchall() == runs
        kept = archive.connection.execute("SELECT id FROM notes WHERE source_patient = 'p1'").fetchall()
        assert kept == [("n1",)]
        assert archive.connection.execute("FROM patient_links").fetchall() == [
            ("p1", "p2", None, "r1", AT, 1)
        ]


def test_loading_the_same_source_again_finds_duplicates(tmp_path: Path) -> None:
    with three(tmp_path) as archive:
        relink(archive, [Link("p1", "p2")], "r1", AT)
        again = read(note("n1", "KJ 1+", patient="p1"), finding("patellar", "left", 1))
        assert load_all(archive, [again], "run-2").duplicate == 1
        assert patients(archive)["n1"] == "p2"


def test_later_notes_under_the_old_identifier_follow(tmp_path: Path) -> None:
    with three(tmp_path) as archive:
        relink(archive, [Link("p1", "p2"), Link("p2", "p3")], "r1", AT)
        late = read(note("n9", "KJ 4+", patient="p1"), finding("patellar", "left", 4))
        load_all(archive, [late], "run-2")
        assert set(patients(archive).values()) == {"p3"}
        kept = archive.connection.execute("SELECT source_patient FROM notes ORDER BY id").fetchall()
        assert kept == [("p1",), ("p2",), (None,), ("p1",)]


def test_only_the_notes_of_one_system_move_where_it_is_named(tmp_path: Path) -> None:
    with new_archive(tmp_path) as archive:
        for system in ("urn:a", "urn:b"):
            load_all(archive, [read(note("n1", system=system), finding("patellar", "left", 2))], system)
        assert relink(archive, [Link("p1", "p7", "urn:a")], "r1", AT) == [1]
        late = [read(note("n2", system=s), finding("patellar", "left", 2)) for s in ("urn:a", "urn:b")]
        load_all(archive, late, "late")
        found = {(one.system, one.id): one.patient for one, _, _ in stored_readings(archive)}
        assert found == {
            ("urn:a", "n1"): "p7", ("urn:a", "n2"): "p7", ("urn:b", "n1"): "p1", ("urn:b", "n2"): "p1",
        }  # fmt: skip


@pytest.mark.parametrize(
    ("links", "sentence"),
    [
        ([Link("p1", "p1")], "to the same"),
        ([Link("", "p1")], "names no patient"),
        ([Link("p1", "p2"), Link("p2", "p1")], "Link 2 leads to a patient who was merged"),
        ([Link("p1", "p2"), Link("p3", "p1")], "Link 2 leads to a patient who was merged"),
        ([Link("p1", "p2"), Link("p1", "p3")], "Link 2 starts at a patient who was merged"),
    ],
)
def test_what_makes_no_sense_is_refused_and_all_of_it(
    tmp_path: Path, links: list[Link], sentence: str
) -> None:
    with three(tmp_path) as archive:
        with pytest.raises(ArchiveError, match=sentence):
            relink(archive, links, "r1", AT)
        assert patients(archive) == {"n1": "p1", "n2": "p2", "n3": "p3"}


def test_the_same_link_twice_is_one(tmp_path: Path) -> None:
    with three(tmp_path) as archive:
        relink(archive, [Link("p1", "p2")], "r1", AT)
        assert relink(archive, [Link("p1", "p2")], "r1", AT) == [0]
        assert archive.connection.execute("SELECT count(*) FROM patient_links").fetchall() == [(1,)]
