"""Invented notes read by the program, and exports of them without an archive, for the tests of targets."""

import hashlib
import json
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

from converter.api import Session, assess, open_session, read
from converter.assess import CAUTION
from converter.exports import Common, Manifest, Read, Reads, Target, export
from converter.model import Note

MADE = "2031-06-01T08:00:00Z"


@cache
def session() -> Session:
    return open_session(run="r1", time=MADE)


def note(text: str, note_id: str = "n1", **more: Any) -> Note:
    """A note of the invented Lakeside clinic."""
    given = {"system": "urn:example:notes", "patient": "p1", "authored": "2031-05-04"} | more
    return Note(id=note_id, text=text, hash=hashlib.sha256(text.encode()).hexdigest(), **given)


def read_of(about: Note) -> Read:
    reading = read(about, session())
    return about, reading, assess(about, reading, session())


def reads_of(*notes: Note) -> list[Read]:
    return [read_of(one) for one in notes]


def stream(reads: list[Read]) -> Reads:
    """The notes as the frame wants them."""

    def rest(skip: int) -> Iterator[Read]:
        return iter(reads[skip:])

    return rest


def exported(
    target: Target,
    reads: list[Read],
    folder: Path,
    made: str | None = MADE,
    part_notes: int = 2,
    **more: Any,
) -> Manifest:
    common = Common(
        program=session().program,
        vocabulary=session().vocabulary.fingerprint,
        caution=CAUTION,
        made=made,
        **more,
    )
    return export(target, stream(reads), folder, common, part_notes=part_notes)


def manifest_of(folder: Path) -> dict[str, Any]:
    record: dict[str, Any] = json.loads((folder / "manifest.json").read_text(encoding="utf-8"))
    return record
