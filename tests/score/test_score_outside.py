"""The same figures as a scorer that other people wrote, on notes that other people labelled.

The scorer (`corpus/score.py`) and the labels (`corpus/gold_dev.jsonl`, real notes under open licences,
labelled by hand) are outside material; nothing of them stands here.
"""

import copy
import json
import random
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from score_files import jsonl
from test_score_measure import WORDS

from converter.model.record import finding_to_record
from converter.score import MODES, measured, read_gold, read_predictions
from converter.score.measure import MEASURES

Row = dict[str, Any]


def damaged(rows: list[Row], seed: int) -> list[Row]:
    """Predictions with errors of many kinds, made from labels."""
    chance = random.Random(seed)
    changed = copy.deepcopy(rows)
    for row in changed:
        for finding in row["findings"]:
            act = chance.randrange(8)
            if act == 0:
                finding["side"] = chance.choice(["left", "right", "both", "unspecified"])
            elif act == 1:
                finding.update(grade_low=chance.randrange(5), grade_high=4)
            elif act == 2:
                finding["negated"] = not finding["negated"]
            elif act == 3:
                finding["status"] = "historical"
            elif act == 4:
                finding.update(beats="3-4", sustained=True, response="withdrawal", descriptor="brisk")
        if row["findings"] and not chance.randrange(5):
            row["findings"].pop()
        if not chance.randrange(6):
            row["findings"].append(copy.deepcopy(chance.choice(rows[1]["findings"] or [{"site": "jaw"}])))
    return [row for row in changed if chance.randrange(12)]


def theirs(outside: Path, gold: Path, found: Path) -> Row:
    done = subprocess.run(
        [sys.executable, str(outside / "corpus" / "score.py"), str(gold), str(found), "--json"],
        capture_output=True, check=True, timeout=60,
    )  # fmt: skip
    figures: Row = json.loads(done.stdout)
    return figures


@pytest.mark.parametrize("seed", range(6))
def test_the_figures_are_those_of_the_outside_scorer(outside: Path, tmp_path: Path, seed: int) -> None:
    gold = outside / "corpus" / "gold_dev.jsonl"
    rows = [json.loads(line) for line in gold.read_text(encoding="utf-8").splitlines()]
    found = jsonl(tmp_path / "found.jsonl", damaged(rows, seed))
    assert_same(theirs(outside, gold, found), gold, found)


def test_so_are_the_figures_of_our_own_reading(outside: Path, tmp_path: Path) -> None:
    from score_reading import findings_of

    gold = outside / "corpus" / "gold_dev.jsonl"
    labelled, _ = read_gold(gold)
    rows = [
        {"id": name, "findings": [finding_to_record(one) for one in findings_of(note.text or "")]}
        for name, note in labelled.items()
    ]
    found = jsonl(tmp_path / "found.jsonl", rows)
    assert_same(theirs(outside, gold, found), gold, found)


def assert_same(figures: Row, gold: Path, found: Path) -> None:
    labelled, wrong = read_gold(gold)
    predicted, also_wrong = read_predictions(found)
    assert not [*wrong, *also_wrong]
    ours = measured(labelled, predicted, WORDS, resamples=0)
    for mode in MODES:
        for measure in MEASURES:
            rates, said = ours.rates[mode, measure], figures[mode][measure]
            assert (rates.matched, rates.gold, rates.predicted) == (said["tp"], said["gold"], said["pred"])
            assert [round(rate, 4) for rate in (rates.precision, rates.recall, rates.f1)] == [
                said["precision"], said["recall"], said["f1"],
            ]  # fmt: skip
        assert ours.all_correct[mode] == figures[mode]["passages_all_correct"]
    assert list(ours.false_alarms) == figures["false_positive_passages"]["ids"]
    assert list(ours.silent) == figures["missed_passages"]["ids"]
    assert (ours.status_matched, ours.status_agreed) == (
        figures["status_agreement"]["matched"], figures["status_agreement"]["agree"],
    )  # fmt: skip
    for kind, said in figures["full_by_kind_lenient"].items():
        assert (ours.by_kind[kind].matched, ours.by_kind[kind].gold) == (said["tp"], said["gold"])
