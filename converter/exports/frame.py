"""The frame of every export: parts, counts, checksums, the manifest, and nothing half-written.

Takes a target and the notes; gives a folder. All is written into a hidden folder beside it, which gets the
final name at the very end. An export that was interrupted goes on after its last finished part and ends with
the same bytes.
"""

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from converter.exports.journal import JOURNAL, Journal, interrupted
from converter.exports.places import Places, claimed
from converter.exports.values import (
    MANIFEST,
    Common,
    ExportedFile,
    ExportError,
    Manifest,
    Read,
    Reads,
    ReadWith,
    Target,
)
from converter.exports.writer import Tell, Writer, Written
from converter.model import Diagnostic, Note

PART_NOTES = 500
_BLOCK = 1 << 20


def export(
    target: Target,
    reads: Reads,
    folder: Path,
    common: Common,
    force: bool = False,
    *,
    part_notes: int = PART_NOTES,
    tell: Tell | None = None,
) -> Manifest:
    """Export notes to a folder.

    Args:
        target: the format.
        reads: the notes, from a given one on, in a stable order with the notes of a patient together.
        folder: the final folder.
        common: what the manifest of every target says.
        force: put the new export in the place of an earlier one.
        part_notes: notes in a part at least; more where a patient has more.
        tell: called with what is doubtful.

    Raises:
        ExportError: the folder holds something already, or something that is no export; or another program
            is writing to it.
        OSError: a file cannot be written.
    """
    places = Places.of(folder)
    with claimed(places):
        places.prepare(force)
        head, written = _before(places.partial, _head(target, common, part_notes))
        resumed = written.notes
        more = _write(target, reads, _Making(places.partial, head, written, tell or _silent))
        common = replace(common, made=head["made"])
        manifest = _manifest(target, common, written, more, places.partial, resumed)
        _put_manifest(places.partial, manifest)
        places.put_in_place()
    return manifest


@dataclass(frozen=True, slots=True)
class _Making:
    """An export that is being made: where, what was asked for, what is written, and who is told."""

    folder: Path
    head: dict[str, Any]
    written: Written
    tell: Tell


def _head(target: Target, common: Common, part_notes: int) -> dict[str, Any]:
    """What is being made; an interrupted export goes on only where all of it but the time is the same."""
    return {
        "target": target.name,
        "options": dict(target.options),
        "program": common.program,
        "vocabulary": common.vocabulary,
        "filters": dict(common.filters),
        "state": common.state,
        "part_notes": part_notes,
        "made": common.made,
    }


def _before(partial: Path, head: dict[str, Any]) -> tuple[dict[str, Any], Written]:
    """What an interrupted export left, or a clean start."""
    found = interrupted(partial)
    head = json.loads(json.dumps(head))
    if found is not None and {**found[0], "made": None} == {**head, "made": None} and found[1].part:
        return found
    Places.clean(partial)
    return head, Written()


def _write(target: Target, reads: Reads, making: _Making) -> dict[str, Any]:
    """Write what is not written yet; gives the target's own entries of the manifest."""
    written = making.written
    journal = Journal(making.folder, making.head, new=not written.part)
    writer = Writer(making.folder, written, making.tell, making.head["made"])
    try:
        for part in _parts(reads(written.notes), making.head["part_notes"]):
            _write_part(target, _counted(part, written), writer)
            touched = writer.end_part()
            written.part += 1
            journal.add(written, touched)
        more = dict(target.finish(writer))
        writer.end_part()
    finally:
        writer.close()
        journal.close()
    return more


def _write_part(target: Target, reads: Iterator[Read], writer: Writer) -> None:
    target.write(reads, writer)
    if next(reads, None) is not None:
        raise ExportError(f"{target.name}: the target did not take all notes that it was given.")


def _parts(reads: Iterator[Read], part_notes: int) -> Iterator[Iterator[Read]]:
    """The notes in parts that hold whole patients; each part is to be taken before the next."""
    ahead = next(reads, None)
    while ahead is not None:
        part = _Part(ahead, reads, part_notes)
        yield part
        ahead = part.ahead


class _Part(Iterator[Read]):
    def __init__(self, first: Read, reads: Iterator[Read], part_notes: int) -> None:
        self.ahead: Read | None = first
        self._reads = reads
        self._left = part_notes
        self._patient: str | None = None

    def __next__(self) -> Read:
        one = self.ahead
        if one is None or (self._left <= 0 and not self._same(one)):
            raise StopIteration
        self._patient = one[0].patient
        self._left -= 1
        self.ahead = next(self._reads, None)
        return one

    def _same(self, one: Read) -> bool:
        return one[0].patient is not None and one[0].patient == self._patient


def _counted(reads: Iterator[Read], written: Written) -> Iterator[Read]:
    for read in reads:
        reading = read[1]
        written.notes += 1
        written.findings += len(reading.findings)
        written.read_with[reading.program, reading.vocabulary] += 1
        yield read


def _manifest(
    target: Target, common: Common, written: Written, more: dict[str, Any], folder: Path, resumed: int
) -> Manifest:
    named = {path.relative_to(folder).as_posix(): path for path in folder.rglob("*") if path.is_file()}
    files = tuple(
        ExportedFile(name, written.files[name].rows if name in written.files else 0, *_digest(named[name]))
        for name in sorted(named)
        if name != JOURNAL
    )
    return Manifest(
        target=target.name,
        options=target.options,
        common=common,
        notes=written.notes,
        findings=written.findings,
        left_out=dict(sorted(written.left_out.items())),
        remarks=dict(sorted(written.remarks.items())),
        read_with=tuple(ReadWith(*key, number) for key, number in sorted(written.read_with.items())),
        files=files,
        more=more,
        resumed_after=resumed,
    )


def _digest(path: Path) -> tuple[int, str]:
    digest, size = hashlib.sha256(), 0
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
            size += len(block)
    return size, digest.hexdigest()


def _put_manifest(folder: Path, manifest: Manifest) -> None:
    text = json.dumps(manifest.record(), ensure_ascii=False, indent=2) + "\n"
    (folder / MANIFEST).write_bytes(text.encode("utf-8", errors="replace"))
    (folder / JOURNAL).unlink()


def _silent(diagnostic: Diagnostic, note: Note | None) -> None:
    """Nobody wants to be told."""
