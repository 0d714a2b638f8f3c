"""Any target, fed with de-identified notes; a summary without small cells; and what was done to them.

Takes a target and a Deidentifier; gives a target. A patient's notes come together in one part, so ages and
dates are settled patient by patient. How a note is changed belongs to `deidentifying`.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from converter.exports.deidentifying import ALTERED, Deidentifier
from converter.exports.pseudonyms import LONGEST_SHIFT
from converter.exports.values import Read, Target
from converter.exports.writer import Writer
from converter.words import expand

SUMMARY = "cohort-summary.csv"
SMALL = 10
"""Patients; a count of fewer stands in no summary, as in the audit."""
FEWER = f"fewer than {SMALL}"
DUTY = (
    "Identifiers are replaced, dates moved and words removed as listed here. That alone does not make a set "
    "anonymous: rare findings and what others know can still lead to a person. Whether the set may leave the "
    "site is for an expert and for local policy to decide. Keep the key apart from the set."
)
_COUNT, _CELL = "deidentified ", "cell\t"
_WITHHELD = frozenset({"patient", "note", "author", "facility", "note-kind", "from", "until"})


@dataclass(frozen=True, slots=True)
class DeidentifiedTarget:
    """A target that sees no original identifier, date or word.

    Attributes:
        inner: the target that writes.
        by: what changes the notes.
    """

    inner: Target
    by: Deidentifier

    @property
    def name(self) -> str:
        """The name of the target that writes."""
        return self.inner.name

    @property
    def options(self) -> Mapping[str, Any]:
        """The target's own choices, and which key it was; an export goes on only with the same key."""
        return {**self.inner.options, "deidentify": True, "key_check": self.by.pseudonyms.check()}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        """Write one part of the notes, changed."""
        self.inner.write(self._changed(reads, writer), writer)

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        """Write the summary, and say what was removed or altered."""
        more = self.inner.finish(writer)
        _write_summary(writer)
        counts = {
            name.removeprefix(_COUNT): _shown(number)
            for name, number in sorted(writer.counts.items())
            if name.startswith(_COUNT)
        }
        return {
            **more,
            "deidentified": {
                "duty": DUTY,
                "dates_moved_back_by_days": f"1 to {LONGEST_SHIFT}, the same for all notes of a patient",
                "removed_or_altered": ALTERED,
                "how_often": counts,
                "own_names_kept": self.by.allowed.own_names,
                "small_cells": f"{SUMMARY} counts patients; a count below {SMALL} is shown as {FEWER}",
            },
        }

    def _changed(self, reads: Iterable[Read], writer: Writer) -> Iterator[Read]:
        for patient, notes in groupby(reads, key=lambda read: read[0].patient):
            together = list(notes)
            for group in [together] if patient is not None else [[read] for read in together]:
                changed, counts = self.by.patient(group)
                for name, number in counts.items():
                    writer.add(_COUNT + name, number)
                for cell in sorted(_cells(changed, self.by)):
                    writer.add(_CELL + "\t".join(cell))
                yield from changed


def filters_withheld(filters: Mapping[str, Any]) -> dict[str, Any]:
    """Filters for a manifest: those that hold identifiers or dates only say that they were set."""
    return {name: "withheld" if name in _WITHHELD else value for name, value in filters.items()}


def _cells(reads: Iterable[Read], by: Deidentifier) -> set[tuple[str, str, str]]:
    """What a patient has had: reflex, side and value, each once however often it was found."""
    cells = set()
    for note, reading, _ in reads:
        current = [finding for finding in reading.findings if finding.status == "current"]
        for row in expand(current, by.vocabulary) if note.patient is not None else ():
            finding = row.finding
            value = finding.level or finding.response or finding.descriptor
            if value is not None and not finding.negated:
                cells.add((row.site, row.side, value))
    return cells


def _write_summary(writer: Writer) -> None:
    row = writer.csv(SUMMARY, ("reflex", "side", "value", "patients"))
    for name, number in sorted(writer.counts.items()):
        if name.startswith(_CELL):
            row((*name.removeprefix(_CELL).split("\t"), _shown(number)))


def _shown(number: int) -> int | str:
    return number if number >= SMALL else FEWER
