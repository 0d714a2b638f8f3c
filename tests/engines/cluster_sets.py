"""Notes for the tests of the cluster, and what stands in the files that it writes."""

import json
import random
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import duckdb

_NAMES = ("biceps", "triceps", "KJ", "AJ", "knee jerk", "ankle jerk", "brachioradialis")
_VALUES = ("2+", "3+", "0", "1+", "absent", "brisk", "2+/4", "+", "++")
_SIDES = ("left", "right", "bilaterally")
_PROSE = (
    "The cough is better. Appetite and sleep are good.",
    "Blood pressure was in the usual range; no change of treatment.",
    "Strength 5/5 throughout, pulses 2+.",
)


def write_notes(file: Path, number: int, special: Mapping[int, str] | None = None) -> None:
    """Invented notes, one in twenty with reflexes; some end with words of their own."""
    chance = random.Random(number)
    with file.open("w", encoding="utf-8") as opened:
        for at in range(number):
            text = chance.choice(_PROSE)
            if at % 20 == 0:
                text += (
                    f" {chance.choice(_NAMES)} {chance.choice(_VALUES)} {chance.choice(_SIDES)}. Toes down."
                )
            note = {"id": f"N-{at:05}", "text": f"{text} {(special or {}).get(at, '')}", "authored": day(at)}
            opened.write(json.dumps(note) + "\n")


def day(at: int) -> str:
    """The date of a note that `write_notes` wrote."""
    return f"20{20 + at % 3}-{1 + at % 12:02}-{1 + at % 28:02}"


def select_lines(file: Path) -> str:
    """A query for notes that `write_notes` wrote."""
    columns = "{id: 'VARCHAR', text: 'VARCHAR', authored: 'VARCHAR'}"
    return f"SELECT * FROM read_json('{file}', convert_strings_to_integers = false, columns = {columns})"


def parquet(folder: Path, *selects: str) -> Path:
    """A data set with a file for each query; rows with a `year` go into folders, all named alike."""
    folder.mkdir()
    with duckdb.connect() as database:
        for number, select in enumerate(selects):
            by = ", PARTITION_BY (year), FILENAME_PATTERN 'p{i}'" if " AS year" in select else ""
            target = folder if by else folder / f"{number}.parquet"
            database.execute(f"COPY ({select}) TO '{target}' (FORMAT parquet{by})")
    return folder


def rows_of(files: Path, what: str = "*", order: str = "ALL") -> list[dict[str, Any]]:
    """The rows of a data set, in the order of the notes."""
    with duckdb.connect() as database:
        found = database.execute(
            f"SELECT {what} FROM read_parquet('{files}/**/*.parquet', hive_partitioning = true, "
            f"hive_types_autocast = false, union_by_name = true) ORDER BY {order}"
        )
        names = [column[0] for column in found.description or ()]
        return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def totals_of(out: Path) -> dict[str, int]:
    """What a run counted."""
    totals: dict[str, int] = json.loads((out / "run.json").read_text(encoding="utf-8"))["totals"]
    return totals


def records(file: Path) -> list[dict[str, Any]]:
    """The records of a file of lines."""
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def content(folder: Path) -> dict[str, bytes]:
    """Every file of a folder."""
    files = [file for file in folder.rglob("*") if file.is_file()]
    assert files
    return {file.relative_to(folder).as_posix(): file.read_bytes() for file in files}
