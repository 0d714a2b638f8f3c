"""How old the patient was at a note, in completed years, as far as age or dates tell.

Takes a Note; gives the lowest and the highest age that it allows. A partial date leaves two ages possible.
"""

import re
from calendar import monthrange

from converter.model import Note

_DATE = re.compile(r"(\d{4})(?:-(\d\d)(?:-(\d\d))?)?")
Day = tuple[int, int, int]


def completed_years(note: Note) -> tuple[int, int] | None:
    """The lowest and the highest age at the note; None where nothing tells or the dates contradict."""
    if note.age is not None:
        return (note.age, note.age) if note.age >= 0 else None
    born, written = _days(note.birth_date), _days(note.authored)
    if born is None or written is None:
        return None
    low, high = _years(born[1], written[0]), _years(born[0], written[1])
    return (max(low, 0), high) if high >= 0 else None


def _years(born: Day, day: Day) -> int:
    return day[0] - born[0] - (day[1:] < born[1:])


def _days(date: str | None) -> tuple[Day, Day] | None:
    """The first and the last day that an ISO 8601 date or time allows."""
    found = _DATE.match(date or "")
    if found is None:
        return None
    year, month, day = (int(part) if part else 0 for part in found.groups())
    if not year or month > 12 or (month and day > monthrange(year, month)[1]):
        return None
    last = day or monthrange(year, month or 12)[1]
    return (year, month or 1, day or 1), (year, month or 12, last)
