"""A program of its own that loads into an archive, for tests that kill it or let it clash with another.

Usage: archive_loader.py ARCHIVE NOTES BATCH [hold]; prints a line after each stored batch.
"""

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from archive_notes import finding, load_all, note, read

from converter.archive import ArchiveError, Item, RunTotals, open_archive


def many_items(number: int) -> Iterator[Item]:
    """Notes enough for several batches; some without findings, some twice, some changed."""
    for index in range(number):
        about = note(
            f"n{index}", f"KJ {index % 4}+ and a long tail {'of words ' * 40}", patient=f"p{index % 97}"
        )
        said = [finding("all_limbs", "both", index % 4), finding("achilles", "left", 0)][: index % 3]
        yield read(about, *said)
        if index % 10 == 0:
            yield read(about, *said)
        if index % 25 == 0:
            yield read(replace(about, text="again", hash=f"h{index}"), finding("patellar", "right", 1))


def main() -> None:
    path, number, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])

    def tell(totals: RunTotals) -> None:
        print(totals.notes_in, flush=True)
        if "hold" in sys.argv:
            sys.stdin.readline()

    try:
        with open_archive(path) as archive:
            load_all(archive, many_items(number), "loader", batch_notes=batch, progress=tell)
    except ArchiveError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
