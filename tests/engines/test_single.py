from collections.abc import Callable
from dataclasses import dataclass

from converter.engines import Done, SingleProcess
from converter.model import Diagnostic, Note
from converter.sources import note_from_text


@dataclass(frozen=True, slots=True)
class Lengths:
    """Gives the length of a note, and fails on a note that says so."""

    def open(self) -> Callable[[Note], str]:
        return length_of

    def instead(self, note: Note, fault: Diagnostic) -> str:
        return fault.code


def length_of(note: Note) -> str:
    if note.text == "fail":
        raise ValueError("the words of a note")
    return str(len(note.text))


def test_results_come_in_order_with_what_is_no_note_at_its_place() -> None:
    notes = [note_from_text("one", "a"), note_from_text("fail", "b"), note_from_text("four", "c")]
    with SingleProcess(Lengths()) as engine:
        given = list(engine.run([notes[0], "between", notes[1], notes[2]]))
    assert given == [Done(notes[0], "3"), "between", Done(notes[1], "note-not-done"), Done(notes[2], "4")]
    assert (engine.account.notes, engine.account.done, engine.account.failed) == (3, 2, 1)
    assert engine.account.adds_up


def test_a_fault_does_not_repeat_the_words_of_a_note() -> None:
    class Told(Lengths):
        def instead(self, note: Note, fault: Diagnostic) -> str:
            return fault.message

    with SingleProcess(Told()) as engine:
        (given,) = engine.run([note_from_text("fail", "b")])
    assert isinstance(given, Done)
    assert "words of a note" not in given.result
    assert "ValueError" in given.result
