"""What a person is asked about a reading, and which decision settles it.

The expected questions were written by hand from the notes, before the program was run on them.
"""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from review_readings import read

from converter.assess import assess_reading
from converter.model import Amendment, Finding, Span
from converter.review import Question, decision_of, is_open, questions_of, subjects_of
from converter.words import shipped_vocabulary

WORDS = shipped_vocabulary()


def asked(text: str) -> list[tuple[str, list[str]]]:
    """The kinds of question about a text, each with the words of its places."""
    return [(one.kind, [text[place.start : place.end] for place in one.subjects]) for one in questions(text)]


def questions(text: str) -> tuple[Question, ...]:
    note, reading = read(text)
    return questions_of(reading, assess_reading(reading, note, WORDS), WORDS)


def test_values_that_do_not_agree_are_one_question_about_both() -> None:
    assert asked("R KJ 1+, AJ 2+, R KJ 3+.") == [("contradiction", ["R KJ 1+", "R KJ 3+"])]


def test_a_doubtful_finding_is_asked_about_with_the_reason() -> None:
    (one,) = questions("Left Hoffmann possibly positive.")
    assert (one.kind, len(one.subjects)) == ("doubt", 1)
    assert "not sure" in one.why[0]


def test_a_grade_off_the_scale_is_doubtful() -> None:
    (one,) = questions("R KJ 9+.")
    assert one.kind == "doubt"
    assert "does not exist on the scale" in one.why[0]


def test_unread_wording_close_together_is_one_question() -> None:
    text = "DTRs were puzzling. Left ankle jerk zibbled."
    assert asked(text) == [("unread", ["DTRs were puzzling", "ankle jerk zibbled"])]
    far = f"DTRs were puzzling. {'He slept well and ate. ' * 5}Left ankle jerk zibbled."
    assert [kind for kind, _ in asked(far)] == ["unread", "unread"]


def test_a_plain_note_asks_nothing() -> None:
    assert asked("KJ 2+/2+, AJ 2+/2+, plantars down.") == []
    assert asked("Came for a dressing change.") == []


def test_mixed_plus_asks_about_every_grade_of_the_exam() -> None:
    ((kind, words),) = asked("BJ 2, TJ 2+, KJ 2.")
    assert kind == "contradiction"
    assert words == ["BJ 2", "TJ 2+", "KJ 2"]


def test_two_contradictions_that_share_a_finding_are_one_question() -> None:
    text = "BJ 2 R, R KJ 1+, R KJ 3+."  # mixes 2 with 1+ and 3+, and the knee has two values
    (one,) = questions(text)
    assert one.kind == "contradiction"
    assert len(one.subjects) == 3
    assert len(one.why) == 2


def test_a_question_has_the_same_name_whenever_it_is_asked() -> None:
    text = "R KJ 1+, R KJ 3+."
    assert questions(text)[0].question == questions(text)[0].question
    assert questions(text)[0].question != questions(f"{text} ")[0].question


PIECES = st.sampled_from(
    (
        "R KJ 1+",
        "R KJ 3+",
        "?AJ reduced",
        "DTRs were puzzling",
        "KJ 9+",
        "TJ 2",
        "; ",
        ". ",
        "\n",
        "AJ absent",
    )
)


@settings(max_examples=100, deadline=None)
@given(st.lists(PIECES, max_size=10).map(" ".join))
def test_every_doubt_and_unread_place_is_asked_about_exactly_once(text: str) -> None:
    note, reading = read(text)
    found = questions_of(reading, assess_reading(reading, note, WORDS), WORDS)
    keys = [subject.key for one in found for subject in one.subjects]
    assert len(keys) == len(set(keys))
    doubtful = {
        subjects_of(reading)[one.finding].key for one in reading.findings if one.certainty == "uncertain"
    }
    unread = {f"@{one.start}-{one.end}" for one in reading.unread}
    assert doubtful | unread <= set(keys)
    assert all(one.why and all(sentence.endswith((".", "?")) for sentence in one.why) for one in found)


def said(verdict: str, about: Finding | None, spans: tuple[Span, ...], **more: object) -> Amendment:
    given = {
        "system": None, "id": "n", "note_hash": "h", "spans": spans, "verdict": verdict, "finding": about,
        "made_on": about.finding if about else None, "by": "r1", "at": "2031-05-01T08:00:00Z", "number": 1,
    }  # fmt: skip
    return Amendment(**{**given, **more})  # type: ignore[arg-type]


def test_a_decision_settles_its_own_finding_and_no_other() -> None:
    _, reading = read("R KJ 1+, L KJ 3+")
    first, second = reading.findings
    one, two = (subjects_of(reading)[finding.finding] for finding in reading.findings)
    decision = said("confirmed", first, first.spans)
    assert decision_of(one, [decision]) == decision
    assert decision_of(two, [decision]) is None
    assert decision_of(one, [replace(decision, undone_at="2031-05-02T08:00:00Z", undone_by="r2")]) is None
    later = replace(decision, verdict="rejected", number=2)
    assert decision_of(one, [decision, later]) == later
    assert second.finding != first.finding


@pytest.mark.parametrize(
    ("verdict", "settles"), [("no_finding", True), ("added", True), ("rejected", False), ("confirmed", False)]
)
def test_unread_wording_is_settled_by_what_is_said_of_its_place(verdict: str, settles: bool) -> None:
    _, reading = read("DTRs were puzzling, R KJ 2+")
    question = questions("DTRs were puzzling, R KJ 2+")[0]
    place = question.subjects[0]
    about = None if verdict == "no_finding" else reading.findings[0]
    decision = said(verdict, about, (Span(place.start, place.start + 4, "value"),))
    assert is_open(question, [decision]) is not settles


def test_an_added_finding_settles_the_one_it_replaces() -> None:
    _, reading = read("R KJ 1+ zibbled, AJ 2+")
    knee, ankle = reading.findings
    added = replace(knee, end=knee.end + 8, spans=(Span(knee.start, knee.end + 8, "value"),))
    decision = said("added", added, added.spans, made_on=None)
    assert decision_of(subjects_of(reading)[knee.finding], [decision]) == decision
    assert decision_of(subjects_of(reading)[ankle.finding], [decision]) is None
