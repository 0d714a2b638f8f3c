"""The pieces of a marked note are the note, each with the mark of what was made of it."""

from hypothesis import given, settings
from hypothesis import strategies as st
from review_readings import read

from converter.model import Reading, Unread
from converter.review import MARKS, pieces_of

BITS = st.sampled_from(
    (
        "KJ 2+",
        "R AJ absent",
        " ",
        "\n",
        "\t",
        "; ",
        "reflexes",
        "purple DTRs",
        "light reflex",
        "\U0001f9b5",
        "\r\n",
    )
)


def test_findings_and_unread_wording_are_marked_in_place() -> None:
    note, reading = read("Seen today. R KJ 2+. The DTRs puzzled us.")
    marked = [(piece.text, piece.mark) for piece in pieces_of(note.text, reading) if piece.mark]
    assert marked[0] == ("R KJ 2+", "finding")
    assert [mark for text, mark in marked if "DTRs" in text] == ["unread"]


def test_a_word_that_was_not_understood_is_never_shown_as_read() -> None:
    _, reading = read("R KJ 2+")
    doubtful = Reading(
        id="n", system=None, note_hash="", schema="", program="", vocabulary="",
        findings=reading.findings, unread=(Unread(start=2, end=4, text="KJ", why="no-rule"),),
    )  # fmt: skip
    assert [(piece.text, piece.mark) for piece in pieces_of("R KJ 2+", doubtful)] == [
        ("R", "finding"), (" ", ""), ("KJ", "unread"), (" ", ""), ("2+", "finding"),
    ]  # fmt: skip


@settings(max_examples=200, deadline=None)
@given(st.lists(BITS, max_size=12).map("".join))
def test_joined_pieces_are_the_note_and_hold_every_span(text: str) -> None:
    note, reading = read(text)
    pieces = pieces_of(note.text, reading)
    assert "".join(piece.text for piece in pieces) == text
    assert all(piece.text and piece.mark in (*MARKS, "") for piece in pieces)
    marks = [piece.mark for piece in pieces for _ in piece.text]
    for finding in reading.findings:
        assert all(marks[at] for span in finding.spans for at in range(span.start, span.end))
    for unread in reading.unread:
        assert set(marks[unread.start : unread.end]) == {"unread"}
