"""Labels and predictions are read line by line; a line that cannot be used is said and left out."""

from pathlib import Path

import pytest
from score_files import Record, grade, jsonl

from converter.score import read_gold, read_predictions
from converter.score.files import holds_findings


def test_labels_come_with_text_or_passage(tmp_path: Path) -> None:
    rows: list[Record] = [
        {"id": "a", "text": "KJ 2+", "findings": []},
        {"id": 2, "passage": "AJ 1+", "findings": []},
        {"id": "c", "findings": []},
    ]
    gold, wrong = read_gold(jsonl(tmp_path / "gold.jsonl", rows))
    assert not wrong
    assert [(note.id, note.text) for note in gold.values()] == [("a", "KJ 2+"), ("2", "AJ 1+"), ("c", None)]


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("not json", "label-line"),
        ("[]", "label-line"),
        ('{"findings": []}', "label-line"),
        ('{"id": "b"}', "label-line"),
        ('{"id": "b", "findings": [1]}', "label-line"),
        ('{"id": "b", "findings": [{"side": "left"}]}', "label-line"),
        ('{"id": "b", "findings": [{"site": "jaw", "grade_low": "2"}]}', "label-line"),
        ('{"id": "a", "findings": []}', "repeated-id"),
    ],
)
def test_a_line_that_cannot_be_used_is_said(tmp_path: Path, line: str, code: str) -> None:
    file = tmp_path / "found.jsonl"
    file.write_text(f'{{"id": "a", "findings": []}}\n\n{line}\n', encoding="utf-8")
    found, wrong = read_predictions(file)
    assert list(found) == ["a"]
    assert [(one.code, one.line) for one in wrong] == [(code, 3)]


def test_predictions_are_told_from_notes(tmp_path: Path) -> None:
    assert holds_findings(jsonl(tmp_path / "a.jsonl", [{"id": "a", "findings": [grade("jaw", "both", 2)]}]))
    assert not holds_findings(jsonl(tmp_path / "b.jsonl", [{"id": "a", "text": "KJ 2+"}]))
    assert not holds_findings(tmp_path / "none.jsonl")
