"""The compiled reader beside the interpreted one, each in its own processes: passages, and the whole program.

`make compiled` builds it, and `PLEXOR_COMPILED` names its Python; without it the figures say so.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from bench_reading import scan_of
from material import notes_file, passages, texts_of
from measuring import ROUNDS, Figure, at_least, at_most, machine, run_program, side_by_side

RATE = """
import json, statistics, sys, time
from converter.reading import read_note
from converter.sources import note_from_text
from converter.words import shipped_vocabulary
vocabulary = shipped_vocabulary()
notes = [note_from_text(text) for text in json.load(sys.stdin)]
times = []
for _ in range(1 + int(sys.argv[1])):
    began = time.perf_counter()
    for note in notes:
        read_note(note, vocabulary)
    times.append(time.perf_counter() - began)
print(len(notes) / statistics.median(times[1:]))
"""
"""Prints how many passages a process reads in a second, once it has met their words."""


def figures() -> Iterator[Figure]:
    """All figures of the compiled reader."""
    python = os.environ.get("PLEXOR_COMPILED")
    if not python:
        yield Figure("compiled reader", "not at hand: make compiled", "-", "-")
        return
    with tempfile.TemporaryDirectory() as folder:
        file = notes_file(Path(folder))
        yield from of_passages(file, python)
        yield from whole_program(file, Path(folder), python)


def of_passages(file: Path, python: str) -> Iterator[Figure]:
    """Passages with findings a second on one core, in turns."""
    texts = json.dumps(passages(file))
    pairs = [(rate([python, "-E"], texts), rate([sys.executable], texts)) for _ in range(ROUNDS)]
    compiled, interpreted = (statistics.median(rates) for rates in zip(*pairs, strict=True))
    name = "passages with findings, compiled reader, a process of its own"
    yield at_least(name, compiled, interpreted, "interpreted", "passages", 0)


def rate(python: list[str], texts: str) -> float:
    """Passages a second."""
    command = [*python, "-c", RATE, "1"]
    return float(subprocess.run(command, input=texts, capture_output=True, text=True, check=True).stdout)


def whole_program(file: Path, folder: Path, python: str) -> Iterator[Figure]:
    """The whole program with the compiled reader beside the scan, on all cores and on one."""
    texts = texts_of(file)
    words = ["read", str(file), "--format", "jsonl", "--out", str(folder / "out.jsonl")]
    scan, all_cores, one = side_by_side(
        lambda: scan_of(texts),
        lambda: run_program(words, [python, "-E"]),
        lambda: run_program([*words, "--workers", "1"], [python, "-E"]),
    )
    about = f"(one scan, {len(texts):,} notes)"
    yield at_most("read, compiled, whole program, all cores", all_cores, scan, about, 0.5)
    yield at_most("read, compiled, whole program, one process", one, scan, about, 0.5)


if __name__ == "__main__":
    print(machine())
    for figure in figures():
        print(figure)
