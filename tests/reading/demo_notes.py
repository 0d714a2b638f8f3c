"""The texts of the demo notes by id, read with the standard library alone, as an independent look at them."""

import csv
from functools import cache
from pathlib import Path


@cache
def demo_texts(folder: Path) -> dict[str, str]:
    """Text by note id: the rows of `notes.csv`, and each file of `texts/` under its name without `.txt`."""
    with (folder / "notes.csv").open(encoding="utf-8", newline="") as lines:
        texts = {row["id"]: row["text"] for row in csv.DictReader(lines)}
    for file in sorted((folder / "texts").glob("*.txt")):
        texts[file.stem] = file.read_text(encoding="utf-8")
    return texts
