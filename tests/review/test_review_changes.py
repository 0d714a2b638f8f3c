"""What changed between two readings of the same notes."""

import json
from dataclasses import replace
from pathlib import Path

from review_readings import read

from converter.model import Diagnostic, Reading
from converter.model.record import reading_to_record
from converter.review import changes_between, read_records


def reading(text: str, name: str = "n") -> Reading:
    return read(text, name)[1]


def test_a_reading_compared_with_itself_has_not_changed() -> None:
    one = reading("R KJ 2+, L KJ 3+")
    changes = changes_between([one], [one])
    assert (changes.findings, changes.same, changes.notes) == ((), 2, 1)


def test_changed_appeared_and_vanished_are_told_apart() -> None:
    old = reading("R KJ 2+; L AJ 1+")
    new = reading("R KJ 3+; R BJ 2+")
    changes = changes_between([old], [new])
    assert [(one.finding.rpartition("-")[0], one.change) for one in changes.findings] == [
        ("patellar-right", "changed"), ("biceps-right", "appeared"), ("achilles-left", "vanished"),
    ]  # fmt: skip
    changed = changes.findings[0]
    assert changed.fields["grade_low"] == (2, 3)
    assert changed.fields["as_written"] == ("2+", "3+")
    assert "side" not in changed.fields
    assert changes.other_text == ((None, "n"),)


def test_notes_of_one_reading_alone_are_counted_and_not_called_appeared() -> None:
    changes = changes_between([reading("KJ 2+", "a")], [reading("KJ 2+", "b")])
    assert (changes.only_old, changes.only_new) == (((None, "a"),), ((None, "b"),))
    assert changes.findings == ()


def test_notes_of_two_systems_with_one_id_are_two_notes() -> None:
    one, other = (replace(reading("KJ 2+"), system=system) for system in ("urn:a", "urn:b"))
    assert changes_between([one, other], [one]).only_old == (("urn:b", "n"),)


def test_records_are_read_back_and_other_lines_are_said(tmp_path: Path) -> None:
    one = reading("R KJ 2+; L AJ absent")
    file = tmp_path / "old.jsonl"
    file.write_text(json.dumps(reading_to_record(one)) + '\n[1]\n{"id": "x"}\nnonsense\n', encoding="utf-8")
    first, *others = read_records(file)
    assert first == one
    assert [(found.code, found.line) for found in others if isinstance(found, Diagnostic)] == [
        ("record-line", 2), ("record-line", 3), ("record-line", 4),
    ]  # fmt: skip
