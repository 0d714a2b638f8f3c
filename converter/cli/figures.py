"""Drawings of exams as SVG files in a folder, one an exam."""

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from converter.cli.output import opened
from converter.cli.running import CannotRunError
from converter.model import Assessment, Note, Reading

if TYPE_CHECKING:
    from converter.words import Vocabulary

_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")
_LONGEST = 60


class Figures:
    """A folder of drawings.

    Attributes:
        folder: where they are written.
        count: how many were written.
    """

    def __init__(self, folder: Path, vocabulary: "Vocabulary") -> None:
        """Open the folder, making it where it is missing.

        Raises:
            CannotRunError: it cannot be made.
        """
        self.folder = folder
        self.count = 0
        self._vocabulary = vocabulary
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise CannotRunError(
                f"{folder}: the folder cannot be made ({(error.strerror or str(error)).lower()})"
            ) from error

    def drawing(
        self, read: Iterable[tuple[Note, Reading, tuple[Assessment, ...]]]
    ) -> Iterator[tuple[Note, Reading, tuple[Assessment, ...]]]:
        """Pass notes on, drawing each of their own exams; exams that a note quotes are not drawn.

        Raises:
            CannotRunError: a file cannot be written, or another file has its name.
        """
        for note, reading, assessments in read:
            quoted = {exam.exam for exam in reading.exams if exam.status == "historical"}
            for assessment in assessments:
                if assessment.exam not in quoted:
                    self._draw(note, reading, assessment)
            yield note, reading, assessments

    def _draw(self, note: Note, reading: Reading, assessment: Assessment) -> None:
        from converter.assess import figure_svg

        svg = figure_svg(assessment, reading, note, self._vocabulary) + "\n"
        file = self.folder / figure_name(note, assessment.exam)
        if file.exists() and not _is_drawing(file, svg.partition("\n")[0]):
            raise CannotRunError(f"{file}: this file is no drawing by plexor, so it is not replaced")
        with opened(file) as stream:
            stream.write(svg)
        self.count += 1


def figure_name(note: Note, exam: int) -> str:
    """A file name that any file system takes, whatever the note is called; two exams never share one."""
    from converter.fhir.identity import uuid_of

    said = _UNSAFE.sub("-", note.id).strip("-")[:_LONGEST] or "note"
    return f"{said}.exam-{exam}.{uuid_of(note.system, note.id, 'figure', exam)}.svg"


def _is_drawing(file: Path, first_line: str) -> bool:
    """Whether a file begins as our drawings do."""
    start = first_line.encode() + b"\n"
    with file.open("rb") as stream:
        return stream.read(len(start)) == start
