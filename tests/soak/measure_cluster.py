"""What reading a data set through Spark costs: processor time for each note, and bytes on the disk.

Run with pyspark and Java at hand: `python tests/soak/measure_cluster.py [NOTES [SHARE]]`: how many invented
notes, and which share of them speaks of reflexes. Processor time is that of every process that takes part,
Java's among them, after a first data set that warms them up. Prints notes for each hour of one core, beside
reading alone, and the bytes of readings and findings.
"""

import os
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import duckdb
from load_many_notes import write_notes

from converter.api import open_session, read_notes
from converter.datasets import Totals, read_dataset
from converter.engines.cluster_session import connected
from converter.model import Note
from converter.sources import SourceOptions, open_notes
from converter.works import record_line

_WARMING = 1000
_TICKS = os.sysconf("SC_CLK_TCK")


def spark_seconds(notes: Path, out: Path, warming: Path) -> tuple[float, Totals]:
    """Processor time of reading a data set on one core, and what became of it."""
    session, options = open_session(), SourceOptions()
    with connected("local[1]") as spark:
        read_dataset(spark, [str(warming)], f"{out}-first", session, options, "year")
        began = seconds_so_far()
        totals = read_dataset(spark, [str(notes)], str(out), session, options, "year")
        return seconds_so_far() - began, totals


def seconds_so_far() -> float:
    """Processor time of this process, of those that it started, and of those that these waited for."""
    return sum(ticks_of(process) for process in processes(os.getpid())) / _TICKS


def processes(process: int) -> Iterator[int]:
    """A process and all below it."""
    yield process
    for task in Path(f"/proc/{process}/task").iterdir():
        for child in (task / "children").read_text(encoding="ascii").split():
            yield from processes(int(child))


def ticks_of(process: int) -> int:
    """Processor time of a process and of the children it waited for, in ticks of the clock."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rpartition(")")[2].split()
    return sum(int(field) for field in fields[11:15])


def alone_seconds(notes: Path) -> float:
    """Processor time of reading the same notes in this process."""
    session, began = open_session(), time.process_time()
    items = open_notes([str(notes)], SourceOptions())
    for _, reading in read_notes((one for one in items if isinstance(one, Note)), session):
        record_line(reading)
    return time.process_time() - began


def data_set(folder: Path, number: int, share: float) -> Path:
    """Invented notes in Parquet."""
    lines, target = folder / f"{number}.jsonl", folder / f"set-{number}"
    write_notes(lines, number, share)
    target.mkdir()
    duckdb.execute(
        f"COPY (FROM read_json('{lines}', convert_strings_to_integers = false)) TO '{target}/0.parquet'"
    )
    return target


def size(folder: Path) -> int:
    """Bytes of the Parquet files of a folder."""
    return sum(file.stat().st_size for file in folder.rglob("*.parquet"))


def main() -> None:
    """Measure and tell."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 40_000
    share = float(sys.argv[2]) if len(sys.argv) > 2 else 1 / 80
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        warming, notes = data_set(folder, _WARMING, share), data_set(folder, number, share)
        seconds, totals = spark_seconds(notes, folder / "out", warming)
        each, alone = seconds / number, alone_seconds(notes) / number
        print(f"{number:,} notes, {totals.findings:,} findings, {size(notes) / number:,.0f} bytes a note")
        print(f"on a cluster: {3600 / each:,.0f} notes an hour and core ({each * 1000:.3f} ms a note)")
        print(f"alone: {3600 / alone:,.0f} ({alone * 1000:.3f} ms), {each / alone:.2f} times as much")
        print(f"readings: {size(folder / 'out' / 'readings') / number:,.0f} bytes a note")
        if totals.findings:
            print(f"findings: {size(folder / 'out' / 'findings') / totals.findings:,.0f} bytes a finding")


if __name__ == "__main__":
    main()
