"""JSON lines: one note a line, an object with the note's fields."""

from collections.abc import Iterator, Mapping
from typing import Any

from converter.model import Diagnostic, Note
from converter.sources.decode import Lines
from converter.sources.fields import Place, note_from_fields
from converter.sources.format import NoteStream, Opened
from converter.sources.json_value import parse_json
from converter.sources.options import FIELDS, SourceOptions
from converter.sources.troubles import error, names_shown, warning

_SHAPES = 1000
"""Different sets of names whose meaning is remembered."""


def read_jsonl(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a JSON lines file; blank lines are passed over."""
    if _is_one_document(opened, options):
        yield error(
            "json-not-lines",
            "The file is one JSON document, not one object a line.",
            opened.name,
            1,
            hint="Write each note as one JSON object on a line of its own.",
        )
        return
    lines, names, stem = opened.lines(options), _Names(options), opened.stem
    for line in _whole_lines(lines, options.largest_note, opened.name):
        if isinstance(line, Diagnostic):
            yield line
        elif line := line.strip():
            if lines.guessed:
                yield from lines.troubles()
            place = Place(opened.name, lines.number, f"{stem}:{lines.number}")
            yield from _note(line, place, options, names)
    yield from lines.last_troubles()


def recognise_jsonl(opened: Opened, options: SourceOptions) -> bool:
    """Whether the first line is a JSON object, or the start of a long one."""
    lines = opened.first_lines(options)
    if not lines or not lines[0].lstrip().startswith("{"):
        return False
    if len(lines) == 1 and len(opened.head) > 1024:
        return lines[0].lstrip()[1:].lstrip().startswith('"')
    return isinstance(parse_json(lines[0]), dict)


def _is_one_document(opened: Opened, options: SourceOptions) -> bool:
    lines = opened.first_lines(options)
    return bool(lines) and (lines[0].strip() in ("[", "{") or lines[0].lstrip().startswith("[{"))


def _whole_lines(lines: Lines, longest: int, source: str) -> Iterator[str | Diagnostic]:
    """Lines without their ends; a diagnostic in place of one that is too long to be a note."""
    limit = 2 * longest + 65536  # escapes make a line longer than its note
    next_line = lines.next_line
    while line := next_line(limit):
        if len(line) >= limit and not line.endswith("\n"):
            lines.rest_of_line()
            yield _too_large(longest, source, lines.number)
        else:
            yield line


class _Names:
    """The name under which a record holds each of our fields; records with the same names share them."""

    def __init__(self, options: SourceOptions) -> None:
        self._columns = [(name, options.column(name)) for name in FIELDS]
        self._known: dict[tuple[str, ...], list[tuple[str, str]]] = {}

    def held_by(self, record: Mapping[str, Any]) -> list[tuple[str, str]]:
        """Pairs of our name and the record's."""
        names = tuple(record)
        found = self._known.get(names)
        if found is None:
            folded = {name.strip().casefold(): name for name in names}
            pairs = (
                (name, column if column in record else folded.get(column.casefold()))
                for name, column in self._columns
            )
            found = [(name, held) for name, held in pairs if held is not None]
            if len(self._known) < _SHAPES:
                self._known[names] = found
        return found


def _note(line: str, place: Place, options: SourceOptions, names: _Names) -> list[Note | Diagnostic]:
    """The note of a line, after what is wrong with it."""
    record = parse_json(line)
    if isinstance(record, str):
        return [error("not-json", f"The line is not JSON ({record}).", place.source, place.line)]
    if not isinstance(record, dict):
        return [
            error(
                "not-an-object", "The line is JSON, but not an object with fields.", place.source, place.line
            )
        ]
    troubles: list[Diagnostic] = []
    fields = _fields(record, place, names, troubles)
    if "text" not in fields:
        return [*troubles, _no_text(record, place, options)]
    if len(fields["text"]) > options.largest_note:
        return [*troubles, _too_large(options.largest_note, place.source, place.line)]
    note, more = note_from_fields(fields, place, options)
    return [*troubles, *more, note]


def _fields(
    record: Mapping[str, Any], place: Place, names: _Names, troubles: list[Diagnostic]
) -> dict[str, str]:
    """Our fields as text; other fields of the record are not ours to read."""
    fields: dict[str, str] = {}
    for name, held in names.held_by(record):
        value = record[held]
        if isinstance(value, str):
            fields[name] = value
        elif isinstance(value, int | float) and not isinstance(value, bool) and name != "text":
            fields[name] = str(value)
        elif value is not None and name != "text":
            troubles.append(
                warning(
                    "bad-field", f"The {name} is not a text, so it was left out.", place.source, place.line
                )
            )
    return fields


def _no_text(record: Mapping[str, Any], place: Place, options: SourceOptions) -> Diagnostic:
    seen = names_shown(list(record)) or "none"
    return error(
        "no-text",
        f"The line has no text in the field {options.column('text')}.",
        place.source,
        place.line,
        hint=f"Its fields are: {seen}. Name the right one with --column text=NAME.",
    )


def _too_large(longest: int, source: str, line: int | None) -> Diagnostic:
    return error(
        "too-large", f"The note holds more than {longest} characters, so it was left out.", source, line
    )
