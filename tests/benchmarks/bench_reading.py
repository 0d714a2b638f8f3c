"""Reading: the whole program beside one naive scan of the same text, passages a second, and growth.

The scan is one case-insensitive search with `re` for the twenty words in `scanned_words.txt`, which stay as
they are. It has the texts in memory already; the program starts, unpacks, reads JSON, and writes a record for
each note.
"""

import importlib
import itertools
import os
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from material import notes_file, passages, texts_of, times_as_many
from measuring import Figure, at_least, at_most, machine, run_program, seconds, side_by_side

from converter.model import Note
from converter.reading import read_note
from converter.sources import note_from_text
from converter.words import shipped_vocabulary
from converter.words.phrases import wordings

WORDS = (Path(__file__).parent / "scanned_words.txt").read_text(encoding="utf-8").split()
SCAN = re.compile("|".join(map(re.escape, WORDS)), re.IGNORECASE)
ONE_CORE = 5000
STEPS = (1, 4, 16, 64)
SMALLEST, LARGER, FEW = 100, 6000, 3
"""Notes of the smallest step of growth, notes that show what workers do, and rounds of what takes long."""


def figures() -> Iterator[Figure]:
    """All figures of reading."""
    with tempfile.TemporaryDirectory() as folder:
        file = notes_file(Path(folder))
        yield from whole_program(file, Path(folder))
        yield from workers(file, Path(folder))
        yield from of_passages(file)
        yield from growth(file, Path(folder))


def whole_program(file: Path, folder: Path) -> Iterator[Figure]:
    """The whole program beside the scan, on all cores and on one."""
    texts = texts_of(file)
    words = ["read", str(file), "--format", "jsonl", "--out", str(folder / "out.jsonl")]
    scanned: list[float] = []
    used: list[float] = []

    def scan_all() -> None:
        began = time.process_time()
        scan_of(texts)
        scanned.append(time.process_time() - began)

    scan, all_cores, one = side_by_side(
        scan_all,
        lambda: run_program(words),
        lambda: used.append(run_program([*words, "--workers", "1"]).processor),
    )
    about = f"(one scan, {len(texts):,} notes)"
    yield at_most("read, whole program, all cores", all_cores, scan, about, 0.5)
    yield at_most("read, whole program, one process", one, scan, about, 0.5)
    yield at_most(
        "read, whole program, one process, processor time", statistics.median(used),
        statistics.median(scanned), about, 0.5,
    )  # fmt: skip


def scan_of(texts: list[str]) -> None:
    """The one naive scan."""
    for text in texts:
        SCAN.findall(text)


def workers(file: Path, folder: Path) -> Iterator[Figure]:
    """How much two worker processes help a command, beside one process."""
    larger = times_as_many(file, folder / "larger.jsonl.gz", LARGER)
    outs = (str(folder / f"out{number}") for number in itertools.count())
    for command, form in (("read", "--format=jsonl"), ("convert", "--as=ndjson")):
        words = [command, str(larger), form, "--workers"]
        two, one = side_by_side(
            lambda: run_program([*words, "2", "--out", next(outs)]),  # noqa: B023 - called at once
            lambda: run_program([*words, "1", "--out", next(outs)]),  # noqa: B023
            rounds=FEW,
        )
        name = f"{command}, {LARGER:,} notes, two workers ({FEW} rounds)"
        yield at_least(name, LARGER / two, LARGER / one, "with one process", "notes", 1.7)


def of_passages(file: Path) -> Iterator[Figure]:
    """Passages with findings a second, on one core, beside a phrase matcher over the same wordings."""
    vocabulary = shipped_vocabulary()
    notes = [note_from_text(text) for text in passages(file)]
    read_all(notes)
    matcher = phrase_matcher([w for row in vocabulary.rows for w in wordings(row.phrase)])
    if matcher is None:
        (ours,) = side_by_side(lambda: read_all(notes))
        yield Figure(
            "passages with findings", f"{len(notes) / ours:,.0f} passages/s", "spaCy not at hand", "-"
        )
    else:
        ours, theirs = side_by_side(lambda: read_all(notes), lambda: matcher([note.text for note in notes]))
        beside = "spaCy, blank pipeline and PhraseMatcher"
        yield at_least(
            "passages with findings", len(notes) / ours, len(notes) / theirs, beside, "passages", 1
        )
    rate = len(notes) / ours
    yield Figure(
        "passages with findings, one core",
        f"{rate:,.0f} passages/s",
        "-",
        "-",
        f"{ONE_CORE:,}",
        rate >= ONE_CORE,
    )


def read_all(notes: list[Note]) -> None:
    """Read notes one after another."""
    vocabulary = shipped_vocabulary()
    for note in notes:
        read_note(note, vocabulary)


def phrase_matcher(phrases: list[str]) -> Any:
    """A function that matches phrases in texts with spaCy, or None where that is not at hand."""
    parts = Path(os.environ.get("PLEXOR_PARTS", "/nowhere")) / "python"
    if parts.is_dir():
        sys.path.append(str(parts))
    try:
        spacy = importlib.import_module("spacy")
        matching = importlib.import_module("spacy.matcher")
    except ImportError:
        return None
    pipeline = spacy.blank("en")
    matcher = matching.PhraseMatcher(pipeline.vocab, attr="LOWER")
    matcher.add("WORDING", list(pipeline.pipe(phrases)))
    return lambda texts: [matcher(one) for one in pipeline.pipe(texts)]


def growth(file: Path, folder: Path) -> Iterator[Figure]:
    """Time and peak memory on 1, 4, 16 and 64 times some notes."""
    taken: list[tuple[int, float, int]] = []
    for step in STEPS:
        notes = times_as_many(file, folder / f"{step}.jsonl.gz", SMALLEST * step)
        words = ["read", str(notes), "--format", "jsonl", "--out", str(folder / "out.jsonl")]
        peaks: list[int] = []
        taken.append((step, seconds(lambda: peaks.append(run_program(words).peak)), peaks[0]))  # noqa: B023
    first, last = taken[1], taken[-1]
    ratio = (last[1] / first[1]) / (last[0] / first[0])
    shown = ", ".join(f"{step}x {time:.2f} s {peak} MiB" for step, time, peak in taken)
    yield Figure(
        f"growth of read ({SMALLEST:,} notes at 1x, once)", shown, "time by notes, 64x beside 4x",
        f"{ratio:.2f}", "at most 1.1", ratio <= 1.1,
    )  # fmt: skip
    memory = last[2] / taken[1][2]
    yield Figure(
        "peak memory of read", f"{last[2]} MiB at 64x", f"{taken[1][2]} MiB at 4x", f"{memory:.2f}",
        "at most 1.2", memory <= 1.2,
    )  # fmt: skip


if __name__ == "__main__":
    print(machine())
    for figure in figures():
        print(figure)
