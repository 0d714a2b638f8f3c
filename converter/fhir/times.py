"""The authored time of a note as a FHIR dateTime, never more precise than the source and never guessed.

A time without a zone is read in the site's zone where one is set, else cut to the day (FHIR demands a zone
beside a time of day).
"""

import re
from datetime import UTC, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

from converter.model import Diagnostic, Note, Severity

_DATE = re.compile(r"(\d{4})(?:-(\d\d)(?:-(\d\d))?)?")
_TIME = re.compile(
    r"(?P<day>\d{4}-\d\d-\d\d)[T ](?P<minute>\d\d:\d\d)(?P<second>:\d\d)?"
    r"(?P<fraction>\.\d+)?(?P<zone>Z|[+-]\d\d:?\d\d)?"
)


def effective_time(note: Note, zone: str | None) -> tuple[str | None, tuple[Diagnostic, ...]]:
    """The note's time as a FHIR dateTime, or None where it is unknown or cannot be read."""
    authored = (note.authored or "").strip()
    if not authored:
        return None, ()
    if _DATE.fullmatch(authored):
        return (authored, ()) if _is_date(authored) else (None, (_unreadable(note),))
    match = _TIME.fullmatch(authored)
    if match is None or not _is_date(match["day"]):
        return None, (_unreadable(note),)
    return _with_zone(note, match, zone)


def _with_zone(
    note: Note, match: re.Match[str], zone: str | None
) -> tuple[str | None, tuple[Diagnostic, ...]]:
    local = f"{match['day']}T{match['minute']}{match['second'] or ':00'}"
    try:
        naive = datetime.fromisoformat(local)
    except ValueError:
        return None, (_unreadable(note),)
    offset = _written_offset(match["zone"]) if match["zone"] else _offset_in(zone, naive)
    if offset is None:
        why = "has no time zone" if zone is None or match["zone"] else f"is not one moment in {zone}"
        return match["day"], (_cut(note, why),)
    return f"{local}{match['fraction'] or ''}{offset}", ()


def _written_offset(text: str) -> str | None:
    """An offset in the form FHIR asks for, or None where it is beyond fourteen hours."""
    if text == "Z":
        return text
    hours, minutes = int(text[1:3]), int(text[-2:])
    possible = minutes < 60 and (hours, minutes) <= (14, 0)
    return f"{text[0]}{hours:02}:{minutes:02}" if possible else None


def _offset_in(zone: str | None, naive: datetime) -> str | None:
    """The offset of a local time, or None in the hour that the clocks skip or repeat."""
    if zone is None:
        return None
    place = _zone(zone)
    first, second = naive.replace(tzinfo=place), naive.replace(tzinfo=place, fold=1)
    offset = first.utcoffset()
    if offset is None or offset != second.utcoffset():
        return None
    if first.astimezone(UTC).astimezone(place).replace(tzinfo=None) != naive:
        return None
    if offset % timedelta(minutes=1):  # local mean times of the nineteenth century
        return None
    minutes = int(offset.total_seconds()) // 60
    return f"{'-' if minutes < 0 else '+'}{abs(minutes) // 60:02}:{abs(minutes) % 60:02}"


@cache
def _zone(name: str) -> ZoneInfo:
    return ZoneInfo(name)


def _is_date(text: str) -> bool:
    year, _, rest = text.partition("-")
    month, _, day = rest.partition("-")
    try:
        datetime(int(year), int(month or 1), int(day or 1), tzinfo=UTC)
    except ValueError:
        return False
    return True


def _cut(note: Note, why: str) -> Diagnostic:
    return Diagnostic(
        code="time-cut-to-day",
        severity=Severity.WARNING,
        message=f"The authored time {note.authored} {why}, so only its day was kept.",
        hint="Set the time zone of the source.",
        source=note.source,
        line=note.line,
    )


def _unreadable(note: Note) -> Diagnostic:
    return Diagnostic(
        code="unreadable-time",
        severity=Severity.WARNING,
        message=f"The authored time {note.authored!r} is no ISO 8601 date or time; the records carry none.",
        source=note.source,
        line=note.line,
    )
