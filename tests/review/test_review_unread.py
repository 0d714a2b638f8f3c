"""Unread wording of many notes, the most frequent first, each with one place to look at."""

from converter.model import Note, Reading, Unread
from converter.review import unread_wordings


def noted(name: str, text: str, *pieces: str) -> tuple[Note, Reading]:
    """A note whose reading did not understand these words of it."""
    note = Note(id=name, text=text, hash="", source="notes.csv", line=2)
    unread = tuple(
        Unread(start=text.index(piece), end=text.index(piece) + len(piece), text=piece, why="no-rule")
        for piece in pieces
    )
    return note, Reading(
        id=name, system=None, note_hash="", schema="", program="", vocabulary="", unread=unread
    )


def test_the_most_frequent_wording_comes_first_whatever_its_case_and_spaces() -> None:
    found = unread_wordings(
        [
            noted("a", "wobbly  jerks and a purple reflex", "wobbly  jerks", "purple reflex"),
            noted("b", "Wobbly jerks", "Wobbly jerks"),
            noted("c", "all well"),
        ]
    )
    assert [(one.wording, one.count, one.notes) for one in found] == [
        ("wobbly jerks", 2, 2),
        ("purple reflex", 1, 1),
    ]
    first = found[0]
    assert (first.note, first.source, first.line, first.start, first.end) == ("a", "notes.csv", 2, 0, 13)
    assert first.context == "wobbly jerks and a purple reflex"


def test_equals_stand_in_alphabetical_order() -> None:
    found = unread_wordings([noted("a", "zany beta alpha", "zany", "beta", "alpha")])
    assert [one.wording for one in found] == ["alpha", "beta", "zany"]


def test_twice_in_one_note_is_one_note() -> None:
    note, reading = noted("a", "odd jerk", "odd jerk")
    twice = Reading(
        id="a", system=None, note_hash="", schema="", program="", vocabulary="", unread=reading.unread * 2
    )
    (found,) = unread_wordings([(note, twice)])
    assert (found.count, found.notes) == (2, 1)
