"""A program of its own that loads into an archive, for tests that kill it or let it clash with another.

Usage: archive_loader.py ARCHIVE NOTES BATCH VOCABULARY [hold]; prints a line after each stored batch.
"""

import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from archive_notes import VOCABULARY, finding, load_all, note, read

from converter.archive import ArchiveError, Item, RunTotals, open_archive
from converter.words import Vocabulary


def many_items(number: int, vocabulary: Vocabulary = VOCABULARY) -> Iterator[Item]:
    """Notes enough for several batches; some without findings, some twice, some changed."""
    fingerprint = vocabulary.fingerprint
    for index in range(number):
        about = note(
            f"n{index}", f"KJ {index % 4}+ and a long tail {'of words ' * 40}", patient=f"p{index % 97}"
        )
        said = [finding("all_limbs", "both", index % 4), finding("achilles", "left", 0)][: index % 3]
        yield read(about, *said, vocabulary=fingerprint)
        if index % 10 == 0:
            yield read(about, *said, vocabulary=fingerprint)
        if index % 25 == 0:
            again = replace(about, text="again", hash=f"h{index}")
            yield read(again, finding("patellar", "right", 1), vocabulary=fingerprint)


def vocabulary_named(name: str) -> Vocabulary:
    return replace(VOCABULARY, fingerprint=name)


def main() -> None:
    path, number, batch = Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3])
    vocabulary = vocabulary_named(sys.argv[4])

    def tell(totals: RunTotals) -> None:
        print(totals.notes_in, flush=True)
        if "hold" in sys.argv:
            sys.stdin.readline()

    try:
        with open_archive(path) as archive:
            items = many_items(number, vocabulary)
            load_all(archive, items, "loader", vocabulary, batch_notes=batch, progress=tell)
    except ArchiveError as error:
        sys.exit(str(error))


if __name__ == "__main__":
    main()
