"""What words mean here, and which line of which file says so."""

from pathlib import Path

from word_files import word_list

from converter.words import Word, load_vocabulary, shipped_vocabulary
from converter.words.report import look_up
from converter.words.vocabulary import SHIPPED


def line_of(row: Word) -> str:
    """The line of the shipped file that a row says it stands on."""
    name, _, number = row.place.rpartition(":")
    return (SHIPPED / name).read_text(encoding="utf-8").splitlines()[int(number) - 1]


def test_an_abbreviation_is_found_with_its_file_and_line() -> None:
    (entry,) = look_up("KJ", shipped_vocabulary()).entries
    assert (entry.row.role, entry.row.meaning, entry.in_force) == ("site", "patellar", True)
    assert entry.row.place.startswith("sites.csv:")
    assert "kj" in line_of(entry.row)


def test_every_row_stands_where_it_says() -> None:
    assert [row.place for row in shipped_vocabulary().rows if row.phrase not in line_of(row)] == []


def test_longer_wordings_that_would_win_are_shown() -> None:
    found = look_up("knee", shipped_vocabulary())
    assert "knee jerk" in [entry.wording for entry in found.longer]


def test_a_meaning_shows_every_row_that_has_it() -> None:
    meanings = {row.meaning for row in look_up("jendrassik", shipped_vocabulary()).meaning}
    assert "jendrassik" in meanings
    assert all("jendrassik" in meaning for meaning in meanings)


def test_words_that_nothing_knows_show_what_is_written_nearly_so() -> None:
    found = look_up("archilees", shipped_vocabulary())
    assert (found.entries, found.longer, found.meaning) == ((), (), ())
    assert "archilles" in found.alike


def test_an_overridden_row_is_shown_as_not_in_force(tmp_path: Path) -> None:
    ours = word_list(tmp_path, "kj, site, achilles, trigger override, ours")
    entries = look_up("kj", load_vocabulary([ours])).entries
    assert [(entry.row.meaning, entry.in_force) for entry in entries] == [
        ("patellar", False),
        ("achilles", True),
    ]
