"""A note as it came from its source, with everything the source knew about it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One clinical note.

    A note is identified by (`system`, `id`). Offsets everywhere in plexor count Unicode code points of
    `text`, whose line ends are kept as they came.

    Attributes:
        id: the source's identifier of the note, unique within `system`.
        text: the decoded text.
        hash: SHA-256 of `text` in UTF-8, lower-case hexadecimal.
        system: URI of the space in which `id` is unique, or None where the source names none.
        patient: the source's patient identifier.
        encounter: the source's encounter identifier.
        author: identifier of the examiner who wrote the note.
        facility: identifier of the place.
        authored: ISO 8601 date or date-time exactly as precise as the source gave it.
        authored_precision: `year`, `month`, `day`, `minute` or `second`; None without `authored`.
        kind: type of the note as the source names it, e.g. `progress`.
        birth_date: ISO 8601 (partial) date.
        age: age in completed years at the time of the note, where the source gives it directly.
        sex: administrative sex as the source gives it.
        source: file the note came from, for messages.
        line: line of that file, counted from 1, for messages.
        origin: where the text stood before markup was taken away, as (start in `text`, start in the source,
            length) in order of `text`; empty where the text is the source unchanged. See `sources.origins`.
    """

    id: str
    text: str
    hash: str
    system: str | None = None
    patient: str | None = None
    encounter: str | None = None
    author: str | None = None
    facility: str | None = None
    authored: str | None = None
    authored_precision: str | None = None
    kind: str | None = None
    birth_date: str | None = None
    age: int | None = None
    sex: str | None = None
    source: str | None = None
    line: int | None = None
    origin: tuple[tuple[int, int, int], ...] = ()
