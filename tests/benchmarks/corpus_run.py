"""The whole job on many real notes: notes a second and peak memory of each command, and whether notes add up.

Run as `python tests/benchmarks/corpus_run.py [NOTES.jsonl.gz]`; without a file it takes the notes of
PLEXOR_OUTSIDE, and skips where that is unset. Memory is the peak of each command's own process, on the whole
file and on its first quarter: it must not grow with the number of notes.
"""

import gzip
import itertools
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

COMMANDS = {
    "read": ["read", "{notes}", "--format", "jsonl", "--out", "{out}/read.jsonl"],
    "convert": ["convert", "{notes}", "--out", "{out}/fhir", "--as", "ndjson"],
    "check": ["check", "{out}/fhir"],
    "load": ["load", "{notes}", "--archive", "{out}/archive.duckdb"],
    "find": ["find", "--archive", "{out}/archive.duckdb", "--site", "achilles", "--level", "absent"],
}


def main(arguments: list[str]) -> int:
    """Run every command on a quarter of the notes and on all of them."""
    outside = os.environ.get("PLEXOR_OUTSIDE")
    file = Path(arguments[0]) if arguments else Path(outside or "") / "corpus" / "notes.jsonl.gz"
    if not file.is_file():
        print(f"skipped: no notes at {file}; name a file or set PLEXOR_OUTSIDE")
        return 0
    failed = 0
    with tempfile.TemporaryDirectory() as folder:
        for part, size in (("a quarter", 4), ("all", 1)):
            notes, count = _part(file, Path(folder) / f"{size}.jsonl.gz", size)
            print(f"{part} of the notes: {count}")
            out = Path(folder) / f"out{size}"
            out.mkdir()
            failed += sum(_run(name, notes, out, count) for name in COMMANDS)
            failed += _adds_up(out, count)
    return 1 if failed else 0


def _part(file: Path, target: Path, size: int) -> tuple[Path, int]:
    with gzip.open(file, "rb") as lines:
        total = sum(1 for _ in lines)
    with gzip.open(file, "rb") as lines, gzip.open(target, "wb") as part:
        part.writelines(itertools.islice(lines, total // size))
    return target, total // size


def _run(name: str, notes: Path, out: Path, count: int) -> int:
    """Run one command; its exit status counts as a failure only where it could not run."""
    words = [word.format(notes=notes, out=out) for word in COMMANDS[name]]
    began = time.perf_counter()
    run = subprocess.Popen(
        [sys.executable, "-c", "from converter.cli.app import main; main()", *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    _, status, used = os.wait4(run.pid, 0)
    seconds = time.perf_counter() - began
    code = os.waitstatus_to_exitcode(status)
    kilobytes = used.ru_maxrss if sys.platform != "darwin" else used.ru_maxrss // 1024
    print(
        f"  {name:8} {count / seconds:8.0f} notes/s  {seconds:7.1f} s  "
        f"{kilobytes / 1024:6.0f} MB at the peak  exit {code}"
    )
    return int(code == 2)


def _adds_up(out: Path, count: int) -> int:
    with (out / "read.jsonl").open("rb") as lines:
        written = sum(1 for _ in lines)
    print(f"  notes in {count}, records out {written}")
    return int(written != count)


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    sys.exit(main(sys.argv[1:]))
