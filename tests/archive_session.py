"""A session and invented notes for the tests of what joins reading and archive."""

from dataclasses import replace
from pathlib import Path

from archive_copies import copied

from converter.api import Session, open_session
from converter.archive import RunTotals
from converter.loading import Loading, load
from converter.model import Diagnostic, Note, Severity
from converter.settings import Settings
from converter.sources import note_from_text

TEXTS = {
    "n1": "Reflexes 2+ throughout, absent at the left ankle.",
    "n2": "Came for a dressing change.",
    "n3": "KJ 3+/2+. AJ 1+ bilaterally. Plantars down.",
    "n4": "Left ankle jerk absent, left knee jerk brisk.",
    "n5": "Previously: ankle jerks absent. Now: ankle jerks 2+.",
}


def session(run: str = "r1", settings: Settings | None = None) -> Session:
    return open_session(settings, run=run, time="2031-05-01T08:00:00Z")


def notes(**changed: str) -> list[Note]:
    texts = TEXTS | changed
    return [
        replace(
            note_from_text(text, name, "urn:example:notes"),
            patient=f"p{name[1:]}",
            authored="2031-03-04",
            source="a.csv",
            line=at,
        )
        for at, (name, text) in enumerate(texts.items(), 2)
    ]


def lost(line: int) -> Diagnostic:
    return Diagnostic(
        code="too-few-columns", severity=Severity.ERROR, message="Lost.", source="a.csv", line=line
    )


def loaded(folder: Path, how: Loading | None = None) -> Path:
    return copied(folder / "a.duckdb", ("invented", how), lambda path: load(notes(), path, session(), how))


def fates(totals: RunTotals) -> tuple[int, int, int, int, int]:
    """With findings, without, duplicate, superseded, failed."""
    assert totals.adds_up, totals
    return (
        totals.with_findings,
        totals.without_findings,
        totals.duplicate,
        totals.superseded,
        totals.failed,
    )
