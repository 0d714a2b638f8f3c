"""No two notes of a run share an identity: copies are left out, clashes are kept apart, both are said."""

import random
import tracemalloc
from pathlib import Path

from note_files import codes, only, read, write

from converter.model import Note, Severity
from converter.sources import note_from_text
from converter.sources.identity import Identities

ROWS = "id,text,patient\n"


def test_an_exact_copy_is_left_out_with_a_warning(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", ROWS + "a,KJ 2+,p1\nb,KJ 2+,p1\na,KJ 2+,p1\n"))
    assert [note.id for note in notes] == ["a", "b"]
    only(troubles, "duplicate-note", Severity.WARNING, line=4)


def test_one_identity_with_another_text_keeps_both(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", ROWS + "a,KJ 2+,p1\na,KJ absent,p1\n"))
    assert [(note.id, note.text) for note in notes] == [("a", "KJ 2+"), ("a#2", "KJ absent")]
    assert "a#2" in only(troubles, "identity-clash", Severity.ERROR, line=3).message


def test_one_identity_with_another_patient_keeps_both(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", ROWS + "a,KJ 2+,p1\na,KJ 2+,p2\n"))
    assert [(note.id, note.patient) for note in notes] == [("a", "p1"), ("a#2", "p2")]
    assert codes(troubles) == ["identity-clash"]


def test_one_id_in_two_systems_is_no_clash(tmp_path: Path) -> None:
    file = write(tmp_path / "a.csv", "id,text,system\na,KJ 2+,urn:x:1\na,AJ 2+,urn:x:2\n")
    notes, troubles = read(file)
    assert ([note.id for note in notes], troubles) == (["a", "a"], [])


def test_clashes_go_across_files(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", ROWS + "x,KJ 2+,\n"), write(tmp_path / "x.txt", "AJ 2+"))
    assert [note.id for note in notes] == ["x", "x#2"]
    assert codes(troubles) == ["identity-clash"]


def test_copies_of_a_clashing_note_and_names_already_taken_are_seen(tmp_path: Path) -> None:
    rows = "a#2,one,\na,two,\na,three,\na,three,\na,two,\na,four,\na#3,five,\n"
    notes, troubles = read(write(tmp_path / "a.csv", ROWS + rows))
    assert [(note.id, note.text) for note in notes] == [
        ("a#2", "one"),
        ("a", "two"),
        ("a#3", "three"),
        ("a#4", "four"),
        ("a#3#2", "five"),
    ]
    assert codes(troubles) == [
        "identity-clash", "duplicate-note", "duplicate-note", "identity-clash", "identity-clash",
    ]  # fmt: skip


def test_every_note_that_is_given_has_an_identity_of_its_own() -> None:
    order = random.Random(7)  # a fixed seed: the same notes every time
    identities = Identities()
    given: list[Note] = []
    copies = 0
    for _ in range(2000):
        note, trouble = identities.settle(
            note_from_text(
                str(order.randrange(4)), note_id=f"n{order.randrange(3)}{order.choice(['', '#2', '#3'])}"
            )
        )
        copies += note is None
        assert (note is None) == (trouble is not None and trouble.code == "duplicate-note")
        given += [note] if note else []
    assert copies + len(given) == 2000
    assert len({note.id for note in given}) == len(given) == 9 * 4


def test_the_memory_of_identities_stays_small() -> None:
    identities = Identities()
    tracemalloc.start()
    for number in range(20_000):
        identities.settle(
            note_from_text(f"note {number} " + "x" * 500, note_id=f"a-rather-long-identifier-{number}")
        )
    size, _ = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert size < 20_000 * 200
