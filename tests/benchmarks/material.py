"""The notes that benchmarks read: real ones where PLEXOR_OUTSIDE is set, else notes of the same shape.

The stand-in repeats invented notes of `fixtures` among ordinary prose, so that as many mention reflexes as
among the real ones: one in eighty.
"""

import gzip
import itertools
import json
import os
from collections.abc import Iterator
from pathlib import Path

from converter.reading import read_note
from converter.sources import note_from_text
from converter.words import shipped_vocabulary

ROOT = Path(__file__).parent.parent.parent
NOTES, ONE_IN = 24_000, 80
PROSE = (
    "The patient came for a visit and reports that the cough is better. Appetite and sleep are good. ",
    "Blood pressure was taken twice and was within the usual range. No change of treatment was needed. ",
    "Soreness of the left upper arm began the evening after the injection and went away in two days. ",
    "Follow up in four weeks, or earlier if the fever comes back. Fluids and rest were advised. ",
)


def notes_file(folder: Path) -> Path:
    """A gzip file of JSON lines; made in the folder where there are no real notes."""
    outside = os.environ.get("PLEXOR_OUTSIDE")
    real = Path(outside or "/nowhere") / "corpus" / "notes.jsonl.gz"
    return real if real.is_file() else _made(folder / "made.jsonl.gz")


def texts_of(file: Path) -> list[str]:
    """The text of every note."""
    with gzip.open(file, "rt", encoding="utf-8") as lines:
        return [json.loads(line)["text"] for line in lines]


def passages(file: Path) -> list[str]:
    """Passages with findings: those of the real ones that read so, else the invented notes."""
    real = file.parent / "passages_open.jsonl"
    texts = _invented()
    if real.is_file():
        texts = [json.loads(line)["passage"] for line in real.read_text(encoding="utf-8").splitlines()]
    vocabulary = shipped_vocabulary()
    return [text for text in texts if read_note(note_from_text(text), vocabulary).findings]


def times_as_many(file: Path, target: Path, notes: int) -> Path:
    """A file of so many notes, taken from another again and again, each with an identifier of its own."""
    with gzip.open(file, "rt", encoding="utf-8") as lines:
        records = [json.loads(line) for line in itertools.islice(lines, 1000)]
    with gzip.open(target, "wt", encoding="utf-8", compresslevel=1) as out:
        for number, record in zip(range(notes), itertools.cycle(records), strict=False):
            out.write(json.dumps(record | {"id": f"n{number}"}) + "\n")
    return target


def _invented() -> list[str]:
    return [
        file.read_text(encoding="utf-8")
        for file in sorted((ROOT / "fixtures" / "demo" / "texts").glob("*.txt"))
    ]


def _made(target: Path) -> Path:
    with gzip.open(target, "wt", encoding="utf-8") as out:
        for number, text in enumerate(_texts()):
            out.write(json.dumps({"id": f"made-{number}", "text": text}) + "\n")
    return target


def _texts() -> Iterator[str]:
    invented = itertools.cycle(_invented())
    for number in range(NOTES):
        prose = "".join(PROSE[(number + place) % len(PROSE)] for place in range(2 + number % 8))
        yield f"{prose}\n{next(invented)}" if number % ONE_IN == 0 else prose
