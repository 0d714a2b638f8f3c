"""Writes a site's own word lists and tables for the tests of this folder."""

from pathlib import Path

from converter.model import Diagnostic
from converter.reading.wordings import reads_as
from converter.words.report import check_files

HEADER = "phrase, role, meaning, flags, source\n"

SCALE = """
[clinic-scale]
title = "Our scale, 0 to 3"
source = "form 12"
grades = [
  { grade = 0, meaning = "absent", level = "absent" },
  { grade = 1, meaning = "low", level = "low" },
  { grade = 2, meaning = "normal", level = "normal" },
  { grade = 3, meaning = "brisk", level = "high" },
]
"""

REFLEX = """
[sternal]
label = "Sternal reflex"
kind = "stretch"
limb = "upper"
paired = true
"""


def word_list(folder: Path, *rows: str, name: str = "ours.csv") -> Path:
    """A word list with these rows; the first stands on line 2."""
    file = folder / name
    file.write_text(HEADER + "".join(f"{row}\n" for row in rows), encoding="utf-8")
    return file


def table(folder: Path, text: str, name: str = "ours.toml") -> Path:
    """A table of scales and reflexes."""
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return file


def found_in(*files: Path) -> list[tuple[str, int | None]]:
    """What the check finds: codes with their lines."""
    return [(one.code, one.line) for one in checked(*files)]


def checked(*files: Path) -> tuple[Diagnostic, ...]:
    """Everything that the check finds."""
    return check_files(files, reads_as)
