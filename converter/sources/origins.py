"""The way back from a note to the document it was taken out of, where markup was removed.

A note's `origin` is a list of stretches (start in the note, start in the source, length). Offsets count
Unicode code points (bytes for RTF). The source is the document as text: the file for CDA, HTML, RTF and HL7
version 2; the attachment or the narratives themselves where they were packed into another document (base64, a
JSON string). A stretch's characters are those of the source, except that white space may have become a space,
and that a character written as a reference or an escape stands for the first character of it. Marks that only
show a layout are in no stretch.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence

Origin = tuple[tuple[int, int, int], ...]


def joined(stretches: Iterable[tuple[int, int, int]]) -> Origin:
    """Stretches in order, those that continue one another made one."""
    made: list[tuple[int, int, int]] = []
    for start, at, length in stretches:
        if made:
            last_start, last_at, last_length = made[-1]
            if last_start + last_length == start and last_at + last_length == at:
                made[-1] = (last_start, last_at, last_length + length)
                continue
        made.append((start, at, length))
    return tuple(made)


def moved(origin: Origin, by: int, source_by: int = 0) -> Origin:
    """The origin of a text that now stands further on, in the note or in the source."""
    return tuple((start + by, at + source_by, length) for start, at, length in origin)


def place_in_source(origin: Sequence[tuple[int, int, int]], offset: int) -> int | None:
    """Where a character of the note stood in its source; None for one that only shows a layout.

    Args:
        origin: the note's.
        offset: place in the note.
    """
    if not origin:
        return offset
    index = bisect_right(origin, offset, key=lambda stretch: stretch[0]) - 1
    if index < 0:
        return None
    start, at, length = origin[index]
    return at + offset - start if offset < start + length else None
