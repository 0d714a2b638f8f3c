"""Archives for the tests of the analysis tables, and what the table of findings gives as rows of the view."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from omop_samples import Ran, plexor

NOTES = {
    "n1": "Reflexes 2+ throughout, absent at the left ankle. Right plantar upgoing.",
    "n2": "Right knee jerk pendular. Left knee jerk brisker than the right. Jaw jerk 2+. "
    "3 beats of clonus at the right ankle.",
    "n3": "Knee jerks 2-3+ bilaterally. Clonus 3-4 beats at the left ankle, no sustained clonus right.",
    "n4": "Possible left Babinski. Left biceps 3+, brisk. Knee jerks not brisk.",
    "n5": "Ankle jerks 1+ only with Jendrassik manoeuvre. Right C6 reflex absent. Left Chaddock positive.",
    "n6": "Previously: ankle jerks absent. Now: ankle jerks 2+. Mother has absent knee jerks.",
    "n7": "Left ankle jerk not tested because of a cast. Right triceps 7+. Moro present.",
    "n8": "Knee jerks +2 right, -1 left. Came with = and @ signs.",
    "n9": "Came for a dressing change.",
}
HYPHENED = ("site", "which", "scale_basis", "response", "duration", "reinforcement", "manoeuvre", "technique",
            "quality", "comparison")  # fmt: skip


def sample_archive(folder: Path, notes: Mapping[str, str] | None = None) -> Path:
    """An archive of notes of two patients, a week apart."""
    lines = [
        json.dumps({
            "system": "urn:example:notes", "id": name, "text": text, "patient": f"p{at % 2 + 1}",
            "encounter": f"e{at}", "author": "x1", "authored": f"2031-03-{at + 1:02}T09:30:00+01:00",
        })
        for at, (name, text) in enumerate((notes or NOTES).items())
    ]  # fmt: skip
    (folder / "notes.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    ran = plexor("load", folder / "notes.jsonl", "--archive", folder / "sample.duckdb")
    assert ran.status < 2, ran.err
    return folder / "sample.duckdb"


def export(archive: Path, target: str, out: Path, *more: str) -> Ran:
    """Export an archive."""
    ran = plexor("export", archive, "--to", target, "--out", out, *more)
    assert ran.status == 0, ran.err
    return ran


def as_view_row(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of the table of findings as the view gives it: codes with hyphens, the unsaid as null."""
    single = row["grade_low"] == row["grade_high"]
    beats = row["beats_low"] == row["beats_high"]
    tested = row["status"] != "not_tested"
    wanted = {name: hyphened(row[name]) for name in HYPHENED}
    return wanted | {
        "observation": row["observation"],
        "document": f"DocumentReference/{row['document']}",
        **{
            name: row[name]
            for name in ("patient", "encounter", "author", "authored", "exam", "finding", "root")
        },
        "side": None if row["side"] == "unspecified" else row["side"],
        "kind": row["kind"],
        "grade": row["grade_low"] if single else None,
        "grade_low": None if single else row["grade_low"],
        "grade_high": None if single else row["grade_high"],
        "plus": None if row["plus"] == "none" else row["plus"],
        "scale": row["scale"],
        "level": row["level"],
        "word": hyphened(row["descriptor"]),
        "beats": row["beats_low"] if beats else None,
        "beats_low": None if beats else row["beats_low"],
        "beats_high": None if beats else row["beats_high"],
        "position": row["position"],
        "denied": row["denied"],
        "not_tested": not tested,
        "certainty": None if row["certainty"] == "stated" else row["certainty"],
        "reason": None if tested else row["reason"],
        "as_written": row["as_written"] if tested else None,
        **{name: row[name] for name in ("start_offset", "end_offset", "quote")},
    }


def with_one_word(row: Mapping[str, Any]) -> dict[str, Any]:
    """A row of the view with its two places for a word joined."""
    joined = dict(row)
    word, beside = joined.pop("descriptor"), joined.pop("descriptor_beside")
    assert word is None or beside is None
    return {**joined, "word": word or beside}


def hyphened(text: str | None) -> str | None:
    """A value as a FHIR code."""
    return None if text is None else text.replace("_", "-")
