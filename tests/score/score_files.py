"""Labelled notes and predictions as a team would write them, for the tests of this folder."""

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from converter.score import Labelled, Predicted

Record = Mapping[str, Any]


def label(site: str, side: str, **said: Any) -> dict[str, Any]:
    """A label with the fields that labels have."""
    kinds = {
        "plantar": "plantar",
        "ankle_clonus": "clonus",
        "primitive": "primitive",
        "abdominal": "superficial",
    }
    return {"site": site, "side": side, "kind": kinds.get(site, "stretch"), "negated": False, **said}


def grade(site: str, side: str, value: float, **said: Any) -> dict[str, Any]:
    """A label with a grade."""
    return label(site, side, grade_low=value, grade_high=value, **said)


def gold(**notes: Iterable[Record]) -> dict[str, Labelled]:
    """Labelled notes by id."""
    return {name: Labelled(name, tuple(findings), None) for name, findings in notes.items()}


def predicted(**notes: Iterable[Record]) -> dict[str, Predicted]:
    """Predictions by id."""
    return {name: Predicted(name, tuple(findings)) for name, findings in notes.items()}


def jsonl(file: Path, rows: Iterable[Record]) -> Path:
    """Write rows as JSON lines."""
    file.write_text("".join(f"{json.dumps(row)}\n" for row in rows), encoding="utf-8")
    return file
