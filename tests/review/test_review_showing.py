"""A note on a page: nothing lost, nothing hidden, nothing that misleads; and words found in it again."""

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from review_readings import read

from converter.model import Span
from converter.review import Subject, subjects_of
from converter.review.places import places_of
from converter.review.showing import LONG, as_in_note, close_up, part_shown, pieces_shown, visible

OVERRIDE, ISOLATE, NUL, ZERO_WIDTH = "\u202e", "\u2066", "\x00", "\u200b"


def test_the_place_in_question_findings_and_unread_wording_are_told_apart() -> None:
    note, reading = read("R KJ 2+. L KJ 3+. DTRs were puzzling.")
    place = subjects_of(reading)[reading.findings[1].finding]
    shown = [(piece.text, piece.mark, piece.subject) for piece in pieces_shown(note.text, reading, (place,))]
    assert [one for one in shown if one[1]] == [
        ("R KJ 2+", "finding", None), ("L KJ 3+", "finding", 0), ("DTRs were puzzling", "unread", None),
    ]  # fmt: skip


def test_a_character_that_hides_or_turns_the_writing_round_is_said_in_its_place() -> None:
    text = f"KJ {OVERRIDE}+2{NUL}{NUL}"
    note, reading = read(text)
    shown = pieces_shown(note.text, reading)
    hidden = [(piece.text, piece.hidden) for piece in shown if piece.hidden]
    assert hidden == [("U+202E", "right-to-left override"), ("U+0000 × 2", "control character")]
    assert not any(mark in piece.text for piece in shown for mark in (OVERRIDE, NUL))


@pytest.mark.parametrize("mark", [OVERRIDE, ISOLATE, NUL, ZERO_WIDTH, "\u2028", "\x1b", "\ufeff", "\ud800"])
def test_names_from_outside_show_such_characters_too(mark: str) -> None:
    assert mark not in visible(f"R-07{mark}")
    assert f"U+{ord(mark):04X}" in visible(f"R-07{mark}")
    assert as_in_note(visible(f"R-07{mark}")) == f"R-07{mark}"


def test_letters_of_other_languages_stay() -> None:
    assert visible("Trömner 2+ \u0394 \u05d0") == "Trömner 2+ \u0394 \u05d0"


BITS = st.sampled_from(("R KJ 2+", " ", "\r\n", "\r", "\n", "DTRs puzzled", OVERRIDE, NUL * 3, "\U0001f9b5"))


@settings(max_examples=200, deadline=None)
@given(st.lists(BITS, min_size=1, max_size=12).map("".join))
def test_pieces_hold_every_character_in_its_place(text: str) -> None:
    note, reading = read(text)
    shown = pieces_shown(note.text, reading)
    assert [piece.start for piece in shown] == sorted({piece.start for piece in shown})
    ends = [*(piece.start for piece in shown[1:]), len(text)]
    for piece, end in zip(shown, ends, strict=True):
        if piece.hidden:
            assert {*text[piece.start : end]} == {text[piece.start]}
        else:
            assert piece.text == text[piece.start : end]
            assert not any(unicodedata.category(one) in ("Cf", "Cs") for one in piece.text)


def test_of_a_long_note_the_part_around_the_place_is_shown() -> None:
    text = "word " * 100_000
    place = Subject(None, (Span(250_000, 250_010, "unread"),))
    low, high = part_shown(text, (place,))
    assert low < 250_000 < 250_010 < high
    assert high - low < LONG
    assert part_shown(text, (place,), whole=True) == (0, len(text))
    assert part_shown("short", (place,)) == (0, 5)


def test_the_close_up_is_the_line_cut_between_words() -> None:
    text = "First line.\nOn the left the knee jerk was 3+ today.\r\nThird line."
    start = text.index("knee")
    low, high = close_up(text, Subject(None, (Span(start, start + 12, "value"),)))
    assert text[low:high] == "On the left the knee jerk was 3+ today."
    one_line = f"{'before ' * 40}KJ 2+{' after' * 40}"
    start = one_line.index("KJ")
    low, high = close_up(one_line, Subject(None, (Span(start, start + 5, "value"),)))
    assert one_line[low:high].startswith("before ")
    assert one_line[low:high].endswith(" after")


def test_words_are_found_where_they_stand_the_nearest_first() -> None:
    text = "KJ 2+.\nAJ\n1+. Later KJ 2+ again, kj 2+."
    assert [place.start for place in places_of(text, "KJ 2+")] == [0, 20]
    assert [place.start for place in places_of(text, "KJ 2+", near=22)] == [20, 0]
    (across,) = places_of(text, " AJ 1+ ")
    assert (across.start, across.words) == (7, "AJ\n1+")
    assert [place.words for place in places_of(text, "aj 1+")] == ["AJ\n1+"]
    assert places_of(text, "BJ") == places_of(text, "  ") == []
    assert [place.start for place in places_of("(a+ (a+", "(a+")] == [0, 4]


def test_without_the_words_nothing_is_shown_and_nothing_fails() -> None:
    place = Subject("knee", (Span(10, 12, "value"),))
    _, reading = read("R KJ 2+. L KJ 3+.")
    assert pieces_shown("", reading, (place,)) == []
    assert pieces_shown("", reading, (place,), close_up("", place)) == []
