"""Taking a row of the word lists away never changes what a note says in silence: `unread` grows.

For each row that some case or demo note uses, those notes are read without it. Where a finding then says
something else, at least one of the notes must list further words as not understood.
"""

from collections import defaultdict
from collections.abc import Iterator
from functools import cache

import pytest
from shorthand_findings import essence
from written_notes import read_text, written_notes

from converter.model import Reading
from converter.words import Word, load_vocabulary, shipped_vocabulary
from converter.words.phrases import tokens_of

NOTES = written_notes()
EXCUSED = {
    "look_alike": "it holds back what would be read: without it its words are ordinary words",
    "other_exam": "as look_alike: without it a part of the examination is not known to be one",
    "heading_other": "it names a part of the note, and its words say nothing of reflexes",
    "legend": "without it the grades of a legend are grades like others",
    "side_ref": "an order of pairs is a setting: without the row the site's own order holds",
    "anaphor": "a word such as `it` stands everywhere, and would be listed everywhere",
    "filler": "its words change no meaning",
}
"""Roles for which the law cannot hold, and why."""
SILENT: dict[str, str] = {}
"""Rows for which it does not hold yet, by phrase, and why."""


@cache
def reading_of(name: str) -> Reading:
    return read_text(NOTES[name])


def rows_of(text: str) -> Iterator[Word]:
    """The rows whose wordings stand in a text, longest first at each place."""
    tokens = tokens_of(text.lower())
    index = 0
    while index < len(tokens):
        found = shipped_vocabulary().words.longest(tokens, index)
        if found is not None:
            yield found[0]
        index = found[1] if found is not None else index + 1


@cache
def rows_in_use() -> dict[Word, list[str]]:
    """Rows with the notes that use them, shortest note first."""
    used: dict[Word, list[str]] = defaultdict(list)
    for name in sorted(NOTES, key=lambda name: len(NOTES[name])):
        for row in dict.fromkeys(rows_of(NOTES[name])):
            used[row].append(name)
    return used


def said(reading: Reading) -> list[str]:
    return sorted(str(essence(finding)) for finding in reading.findings)


def unread(reading: Reading) -> set[tuple[int, int]]:
    return {(span.start, span.end) for span in reading.unread}


def changes_in_silence(row: Word, names: list[str]) -> list[str]:
    """The notes that say something else without the row, if none of them lists more as unread."""
    vocabulary = load_vocabulary(without=frozenset({row.place}))
    changed = []
    for name in names:
        before, after = reading_of(name), read_text(NOTES[name], vocabulary)
        if unread(after) - unread(before):
            return []
        if said(after) != said(before):
            changed.append(name)
    return changed


@pytest.mark.parametrize("role", sorted({row.role for row in rows_in_use()} - set(EXCUSED)))
def test_without_a_row_unread_grows(role: str) -> None:
    silent = {
        row.phrase: changed[0]
        for row, names in rows_in_use().items()
        if row.role == role and row.phrase not in SILENT and (changed := changes_in_silence(row, names))
    }
    assert not silent, "\n".join(f"{phrase}: {NOTES[name]!r}" for phrase, name in silent.items())


def test_most_roles_are_held_to_the_law() -> None:
    roles = {row.role for row in rows_in_use()}
    assert set(EXCUSED) < roles
    assert len(roles - set(EXCUSED)) > 3 * len(EXCUSED)
