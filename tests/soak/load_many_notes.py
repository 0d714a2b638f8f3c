"""Loads many invented notes through the command line, twice: undisturbed, and killed again and again.

Run: `python tests/soak/load_many_notes.py [NOTES [SHARE [KILLS]]]`:
- how many notes (default 3000; a million takes an hour or more and a gigabyte or more);
- the share of them that speaks of reflexes (default 0.7; far smaller in a hospital at large);
- how often the second load is to be killed, about (default 3; with 0 there is no second load).

The notes are made of the wording of `fixtures/demo`: lines of several notes together, grades and sides
changed. Prints the rate beside reading alone and the peak memory after each tenth of the time. In the second
load, at random moments, either the program is killed and started again, with one worker or several, or one
of its workers is killed under it. Exits 1 where the two archives do not hold the same.
"""

import csv
import json
import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path

from converter.api import open_session, read_notes
from converter.sources import note_from_text

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"
PROGRAM = (sys.executable, "-c", "from converter.cli.app import main; main()")
_GRADE = re.compile(r"\b[0-4](?=\+|/4)")
_SIDE = re.compile(r"\b(left|right)\b")
CONTENT = {
    "notes": "system, id, note_hash, patient, authored, text",
    "findings": "system, id, finding, site, side, grade_low, grade_high, level, as_written, quote",
    "reflexes": "system, id, finding_place, site, side, basis",
    "abnormalities": "system, id, abnormality, code, side, sentence",
    "unread": "system, id, text, start_offset",
}
"""What two archives are compared by: views and their columns, nothing that names a run or a row number."""


def demo_lines() -> tuple[list[str], list[str]]:
    """The lines of the demo notes: those that speak of reflexes, and the others."""
    with (DEMO / "notes.csv").open(encoding="utf-8", newline="") as opened:
        texts = [row["text"] for row in csv.DictReader(opened)]
    texts += [file.read_text(encoding="utf-8") for file in sorted((DEMO / "texts").glob("*.txt"))]
    session = open_session()
    speaking: list[str] = []
    others: list[str] = []
    for text in texts:
        for line in filter(str.strip, text.splitlines()):
            ((_, reading),) = read_notes([note_from_text(line, "line")], session)
            (speaking if reading.findings else others).append(line)
    return speaking, others


def made_notes(number: int, share: float, seed: int = 6) -> Iterator[dict[str, str]]:
    """Invented notes, always the same for the same number and share."""
    speaking, others = demo_lines()
    chance = random.Random(seed)
    for at in range(number):
        lines = chance.sample(others, chance.randrange(2, 9))
        if chance.random() < share:
            lines[len(lines) // 2 : len(lines) // 2] = chance.sample(speaking, chance.randrange(1, 3))
        text = "\n".join(lines)
        text = _GRADE.sub(lambda _: str(chance.randrange(5)), text)
        text = _SIDE.sub(lambda _: chance.choice(("left", "right")), text)
        yield {
            "id": f"N-{at:07}",
            "system": "https://rehab.example/notes",
            "text": f"Visit {at}\n{text}",
            "patient": f"P-{chance.randrange(max(1, number // 8)):06}",
            "author": f"EX-{chance.randrange(40)}",
            "facility": f"WARD-{chance.randrange(9)}",
            "kind": chance.choice(("admission", "progress", "consult")),
            "authored": f"20{chance.randrange(20, 31)}-{chance.randrange(1, 13):02}-01",
        }


def write_notes(file: Path, number: int, share: float) -> None:
    """The notes as JSON Lines."""
    with file.open("w", encoding="utf-8") as opened:
        opened.writelines(json.dumps(note) + "\n" for note in made_notes(number, share))


class Loading:
    """A load as a program of its own, its memory watched."""

    def __init__(self, notes: Path, archive: Path, workers: int | None = None) -> None:
        self.began = time.perf_counter()
        told = [] if workers is None else ["--workers", str(workers)]
        self.program = subprocess.Popen(
            [*PROGRAM, "load", str(notes), "--archive", str(archive), *told],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        self.peaks: list[tuple[float, int]] = []
        self._watch = threading.Thread(target=self._watch_memory, daemon=True)
        self._watch.start()

    def _watch_memory(self) -> None:
        while self.program.poll() is None:
            if peak := peak_of(self.program.pid):
                self.peaks.append((time.perf_counter() - self.began, peak))
            time.sleep(0.5)

    def finish(self) -> tuple[float, str]:
        """Seconds and the totals, once it is done."""
        out, complaints = self.program.communicate()
        self._watch.join()
        if self.program.returncode not in (0, 1):
            sys.exit(complaints)
        return time.perf_counter() - self.began, out

    def lasts(self, seconds: float) -> bool:
        """Whether it is still at work after some seconds."""
        try:
            self.program.wait(seconds)
        except subprocess.TimeoutExpired:
            return True
        return False

    def kill(self) -> None:
        """Kill the program."""
        self.program.kill()
        self.program.communicate()

    def kill_worker(self, chance: random.Random) -> bool:
        """Kill one of its workers; False where it has none."""
        workers = children_of(self.program.pid)
        with suppress(ProcessLookupError):
            if workers:
                os.kill(chance.choice(workers), signal.SIGKILL)
        return bool(workers)


def peak_of(process: int) -> int:
    """The peak memory of a running process and those it started, in MB; 0 where that cannot be told."""
    total = 0
    for one in (process, *children_of(process)):
        try:
            status = Path(f"/proc/{one}/status").read_text(encoding="ascii", errors="replace")
        except OSError:
            continue
        found = re.search(r"VmHWM:\s+(\d+) kB", status)
        total += int(found[1]) // 1024 if found else 0
    return total


def children_of(process: int) -> list[int]:
    """The processes that a process started."""
    try:
        tasks = Path(f"/proc/{process}/task/{process}/children").read_text(encoding="ascii")
    except OSError:
        return []
    return [int(one) for one in tasks.split()]


def fingerprints(archive: Path) -> dict[str, tuple[object, ...]]:
    """How many rows each part of an archive holds, and a number made of all of them in any order."""
    import duckdb

    with duckdb.connect(str(archive), read_only=True) as opened:
        return {
            table: opened.execute(
                f"SELECT count(*), sum(hash(row({columns}))::HUGEINT % 1000000007) FROM {source(table)}"
            ).fetchall()[0]
            for table, columns in CONTENT.items()
        }


def source(table: str) -> str:
    """A table joined to what identifies its notes."""
    if table == "notes":
        return "(SELECT * FROM notes WHERE to_run IS NULL)"
    current = "SELECT r.reading, n.system, n.id FROM notes n JOIN readings r ON r.note = n.note"
    return f"({current} WHERE n.to_run IS NULL AND r.to_run IS NULL) JOIN {table} USING (reading)"


def read_alone(number: int, share: float) -> float:
    """Notes a second that reading alone takes, on a part of the notes."""
    notes = [note_from_text(note["text"], note["id"]) for note in made_notes(min(number, 1000), share)]
    session = open_session()
    began = time.perf_counter()
    for _ in read_notes(notes, session):
        pass
    return len(notes) / (time.perf_counter() - began)


def load_undisturbed(folder: Path, number: int, share: float) -> float:
    """Load and tell how it went; the seconds it took."""
    write_notes(folder / "notes.jsonl", number, share)
    alone = read_alone(number, share)
    loading = Loading(folder / "notes.jsonl", folder / "undisturbed.duckdb")
    seconds, totals = loading.finish()
    print(totals.rstrip())
    print(f"load: {number / seconds:,.0f} notes a second, {number / seconds / alone:.2f} of reading alone")
    told = [loading.peaks[len(loading.peaks) * tenth // 10 - 1][1] for tenth in range(1, 11)]
    print(f"peak memory after each tenth of the time, MB: {told}")
    print(f"archive: {(folder / 'undisturbed.duckdb').stat().st_size / number / 1024:.1f} kB a note")
    return seconds


def load_killed(folder: Path, number: int, seconds: float, wanted: int) -> int:
    """Kill a load, or a worker of it, again and again until it ends; how often something was killed."""
    chance = random.Random(number)
    programs = workers = 0
    began = time.perf_counter()
    loading = load_again(folder, chance)
    while loading.lasts(1 + chance.random() * 2 * seconds / max(wanted, 1)):
        if programs + workers >= 3 * wanted:
            break
        if chance.random() < 0.5 and loading.kill_worker(chance):
            workers += 1
        else:
            loading.kill()
            programs += 1
            loading = load_again(folder, chance)
    _, totals = loading.finish()
    print(f"killed: the program {programs} times, a worker {workers} times")
    print(f"done after {time.perf_counter() - began:.0f} s")
    print(totals.rstrip())
    return programs + workers


def load_again(folder: Path, chance: random.Random) -> Loading:
    """The load that is disturbed, begun or resumed."""
    return Loading(folder / "notes.jsonl", folder / "killed.duckdb", chance.choice((1, 2, 3)))


def main() -> int:
    """Load, kill, resume, compare."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    share = float(sys.argv[2]) if len(sys.argv) > 2 else 0.7
    wanted = int(sys.argv[3]) if len(sys.argv) > 3 else 3
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seconds = load_undisturbed(folder, number, share)
        held = fingerprints(folder / "undisturbed.duckdb")
        for table, (rows, _) in held.items():
            print(f"  {table:<14}{rows:>12,}")
        if not wanted:
            return 0
        kills = load_killed(folder, number, seconds, wanted)
        same = fingerprints(folder / "killed.duckdb") == held
    print("the same content" if same else "DIFFERENT CONTENT")
    return 0 if same and kills else 1


if __name__ == "__main__":
    sys.exit(main())
