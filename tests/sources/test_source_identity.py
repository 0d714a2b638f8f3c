"""No two notes of a run share an identity: copies are left out, clashes are kept apart, both are said."""

import random
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from note_files import codes, only, read, write

from converter.model import Note, Severity
from converter.sources import note_from_text
from converter.sources.identity import Identities
from converter.sources.number_table import NumberTable

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


@given(st.lists(st.tuples(st.integers(0, 2**64 - 1) | st.integers(0, 5), st.integers(0, 2**64 - 1))))
def test_the_table_of_numbers_keeps_what_a_dict_keeps(entries: list[tuple[int, int]]) -> None:
    table, plain = NumberTable(), dict[int, int]()
    for key, number in entries:
        assert (key in table) == (key in plain or (key < 2 and {0, 1} & set(plain) != set()))
        if key < 2 and (1 - key) in plain:
            continue  # nought and one share a place
        table[key] = plain[key] = number
    assert all(table[key] == number for key, number in plain.items())


def test_the_table_of_numbers_grows_and_stays_small() -> None:
    """100,000 entries within 16 bytes a slot and at most 1 / 0.35 slots an entry."""
    table = NumberTable()
    for number in range(100_000):
        table[number * 0x9E3779B97F4A7C15 % 2**64] = number
    assert all(table[number * 0x9E3779B97F4A7C15 % 2**64] == number for number in range(0, 100_000, 997))
    assert 12345 not in table
    with pytest.raises(KeyError):
        table[12345]
    assert table.size() <= 16 * 100_000 / 0.35
