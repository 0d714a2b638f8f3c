"""Makes a Note from the fields that a row or a JSON object holds, whatever the format.

Takes our field names with their values as text; gives the Note and what was wrong with its fields.
A field that cannot be used is dropped and said; the note goes through.
"""

import hashlib
import re
from collections.abc import Mapping
from typing import NamedTuple

from converter.model import Diagnostic, Note
from converter.model.making import maker
from converter.sources.dates import completed_years, day_or_less, moment
from converter.sources.options import SourceOptions
from converter.sources.troubles import warning

_FIGURES = re.compile(r"[-\d .,:/+TZ]{1,40}")
_made = maker(Note)
_LONE_SURROGATE = re.compile("[\ud800-\udfff]")


class Place(NamedTuple):
    """Where a note stands: the file, the line, and the identifier to use where the source gives none."""

    source: str
    line: int | None
    spare_id: str


def text_hash(text: str) -> str:
    """SHA-256 of a note's text in UTF-8, lower-case hexadecimal."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def note_from_text(text: str, note_id: str = "note", system: str | None = None) -> Note:
    """A note from a string alone.

    Args:
        text: the note; lone surrogates, which no encoding can write, become U+FFFD.
        note_id: its identifier.
        system: URI of the space in which the identifier is unique.
    """
    text = _LONE_SURROGATE.sub("\ufffd", text)
    return Note(id=note_id, text=text, hash=text_hash(text), system=system)


def note_from_fields(
    fields: Mapping[str, str], place: Place, options: SourceOptions
) -> tuple[Note, list[Diagnostic]]:
    """A note from its fields.

    Args:
        fields: our field names with the values as the source wrote them; `text` must be there.
        place: where the note stands.
        options: gives the system of notes that name none.
    """
    troubles: list[Diagnostic] = []
    text = _clean_text(fields["text"], place, troubles)
    value = {
        name: given.strip() or None if given.isascii() else _repaired(given.strip())
        for name, given in fields.items()
        if name != "text"
    }.get
    written, birth_date, age = value("authored"), value("birth_date"), value("age")
    authored, precision = _authored(written, place, troubles) if written else (None, None)
    note = _made(
        id=value("id") or _spare_id(place, troubles),
        text=text,
        hash=text_hash(text),
        system=value("system") or options.system,
        patient=value("patient"),
        encounter=value("encounter"),
        author=value("author"),
        facility=value("facility"),
        authored=authored,
        authored_precision=precision,
        kind=value("kind"),
        birth_date=_birth_date(birth_date, place, troubles) if birth_date else None,
        age=_age(age, place, troubles) if age else None,
        sex=value("sex"),
        source=place.source,
        line=place.line,
    )
    return note, troubles


def _repaired(value: str) -> str | None:
    return _LONE_SURROGATE.sub("\ufffd", value) or None


def _clean_text(text: str, place: Place, troubles: list[Diagnostic]) -> str:
    repaired, count = (text, 0) if text.isascii() else _LONE_SURROGATE.subn("\ufffd", text)
    if count:
        troubles.append(
            warning(
                "broken-character",
                f"The text holds characters that are cut in half ({count}), shown as \ufffd.",
                place.source,
                place.line,
            )
        )
    if not repaired or repaired.isspace():
        troubles.append(warning("empty-text", "The note has no text.", place.source, place.line))
    return repaired


def _spare_id(place: Place, troubles: list[Diagnostic]) -> str:
    troubles.append(
        warning(
            "missing-id",
            f"The note has no identifier, so it is called {place.spare_id}.",
            place.source,
            place.line,
            hint="Give every note an identifier that stays the same, or its results cannot be updated later.",
        )
    )
    return place.spare_id


def _authored(value: str, place: Place, troubles: list[Diagnostic]) -> tuple[str | None, str | None]:
    found = moment(value)
    if found is None:
        troubles.append(_bad_date("authored", value, place))
        return None, None
    if found.cut:
        troubles.append(
            warning(
                "bad-time",
                f"The time of day in authored {_shown(value)} is not a time, so only the date was kept.",
                place.source,
                place.line,
            )
        )
    return found.text, found.precision


def _birth_date(value: str, place: Place, troubles: list[Diagnostic]) -> str | None:
    found = day_or_less(value)
    if found is None:
        troubles.append(_bad_date("birth_date", value, place))
    return found


def _bad_date(name: str, value: str, place: Place) -> Diagnostic:
    return warning(
        "bad-date",
        f"The {name} {_shown(value)} is not a date, so it was left out.",
        place.source,
        place.line,
        hint="Write dates as year-month-day, e.g. 2023-02-28.",
    )


def _age(value: str, place: Place, troubles: list[Diagnostic]) -> int | None:
    found = completed_years(value)
    if found is None:
        troubles.append(
            warning(
                "bad-age",
                f"The age {_shown(value)} is not an age in years, so it was left out.",
                place.source,
                place.line,
            )
        )
    return found


def _shown(value: str) -> str:
    """A value with figures and marks alone; anything else may be words of the note in the wrong column."""
    return f"'{value}'" if _FIGURES.fullmatch(value) else f"({len(value)} characters)"
