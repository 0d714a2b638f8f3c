"""Further views of what was read: the note with its marks, unread wording counted, and what changed."""

import os
from collections.abc import Iterable, Iterator
from dataclasses import asdict, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from converter.cli.output import Format, json_line, records_to
from converter.cli.running import CannotRunError
from converter.cli.tables import counted, shortened, show_table
from converter.cli.troubles import Troubles, visible
from converter.model import Diagnostic, Finding, Note, Reading

if TYPE_CHECKING:
    from converter.cli.options import Job
    from converter.review import ChangedFinding, Changes, Piece
    from converter.words import Vocabulary

_BRACKETS = {"finding": ("[[", "]]"), "look_alike": ("((", "))"), "unread": ("{{", "}}")}
_STYLES = {"finding": "bold green", "look_alike": "dim", "unread": "bold red"}
_MEANS = {
    "finding": "read as a finding",
    "look_alike": "looks like one and is none",
    "unread": "not understood",
}
_EMPTY: tuple[object, ...] = (None, False, "none", [])


def show_marked(stream: TextIO, note: Note, reading: Reading, vocabulary: "Vocabulary") -> None:
    """Write the text of a note with findings, look-alikes and unread wording marked in place.

    On a terminal the marks are colours; elsewhere, and where NO_COLOR is set, brackets.
    """
    from converter.reading.look_alikes import look_alikes_of
    from converter.review import pieces_of

    pieces = pieces_of(note.text, reading, look_alikes_of(note.text, vocabulary))
    if stream.isatty() and not os.environ.get("NO_COLOR"):
        _coloured(stream, pieces)
    else:
        stream.write("".join(_bracketed(piece) for piece in pieces))
    stream.write("\n")


def show_legend(stream: TextIO) -> None:
    """Write what the marks mean."""
    coloured = stream.isatty() and not os.environ.get("NO_COLOR")
    said = [
        f"{_STYLES[mark].split()[-1] if coloured else ' '.join(_BRACKETS[mark])} {means}"
        for mark, means in _MEANS.items()
    ]
    stream.write(f"marks: {', '.join(said)}\n")


def _bracketed(piece: "Piece") -> str:
    opening, closing = _BRACKETS.get(piece.mark, ("", ""))
    return f"{opening}{_safe(piece.text)}{closing}"


def _coloured(stream: TextIO, pieces: "Iterable[Piece]") -> None:
    from rich.console import Console
    from rich.text import Text

    text = Text()
    for piece in pieces:
        text.append(_safe(piece.text), style=_STYLES.get(piece.mark))
    Console(file=stream, highlight=False).print(text, end="", soft_wrap=True)


def _safe(text: str) -> str:
    """Text from outside made safe for a terminal, its lines kept."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    return "\n".join(visible(line) for line in lines)


def write_unread(stream: TextIO, format_: Format, readings: Iterable[tuple[Note, Reading]]) -> None:
    """Write the wording that was not understood, the most frequent first."""
    from converter.review import UnreadWording, unread_wordings

    found = unread_wordings(readings)
    if format_ is not Format.TEXT:
        with records_to(stream, format_, [field.name for field in fields(UnreadWording)]) as write:
            for one in found:
                write(asdict(one))
        return
    rows = [
        (
            one.count,
            one.notes,
            shortened(one.wording),
            ", ".join(one.why),
            one.note,
            shortened(one.context, 100),
        )
        for one in found
    ]
    if rows:
        show_table(stream, ("times", "notes", "wording", "why", "for example", "in the words"), rows)
    total = sum(one.count for one in found)
    stream.write(f"{counted(total, 'piece')} of reflex wording not understood, {len(found)} different\n")


def write_changes(stream: TextIO, format_: Format, old: Path, new: Iterable[Reading], job: "Job") -> None:
    """Write which findings changed, appeared or vanished since an earlier reading."""
    from converter.review import changes_between, read_records

    changes = changes_between(readings_in(read_records(old), job.troubles), new)
    if not changes.notes and not changes.only_old:
        raise CannotRunError(f"{old}: there is no record of a reading in it")
    if format_ is Format.TEXT:
        _show_changes(stream, changes, job.session.vocabulary)
    elif format_ is Format.JSON:
        stream.write(json_line(_about(changes) | {"findings": [*map(_record, changes.findings)]}) + "\n")
    else:
        columns = ("system", "id", "finding", "change", "fields", "old", "new")
        with records_to(stream, format_, columns) as write:
            for one in changes.findings:
                write(_record(one))


def readings_in(items: Iterable[Reading | Diagnostic], troubles: Troubles) -> Iterator[Reading]:
    """The readings among them; what is wrong with the others is shown."""
    for item in items:
        if isinstance(item, Diagnostic):
            troubles.show(item)
        else:
            yield item


def _about(changes: "Changes") -> dict[str, Any]:
    kinds = [one.change for one in changes.findings]
    return {
        "notes": changes.notes,
        "same": changes.same,
        **{kind: kinds.count(kind) for kind in ("changed", "appeared", "vanished")},
        "only_old": [{"system": system, "id": name} for system, name in changes.only_old],
        "only_new": [{"system": system, "id": name} for system, name in changes.only_new],
        "other_text": [{"system": system, "id": name} for system, name in changes.other_text],
        "vocabulary": {"old": list(changes.old_vocabulary), "new": list(changes.new_vocabulary)},
    }


def _record(one: "ChangedFinding") -> dict[str, Any]:
    from converter.model.record import finding_to_record

    return {
        "system": one.system,
        "id": one.id,
        "finding": one.finding,
        "change": one.change,
        "fields": {name: {"old": old, "new": new} for name, (old, new) in one.fields.items()},
        "old": finding_to_record(one.old) if one.old else None,
        "new": finding_to_record(one.new) if one.new else None,
    }


def _show_changes(stream: TextIO, changes: "Changes", vocabulary: "Vocabulary") -> None:
    note: tuple[str | None, str] | None = None
    for one in changes.findings:
        if (one.system, one.id) != note:
            note = (one.system, one.id)
            stream.write(visible(f"note {one.id}") + "\n")
        stream.write(visible(f"  {one.change:<9}{one.finding}  {_said(one, vocabulary)}") + "\n")
    about = _about(changes)
    stream.write(
        f"{counted(changes.notes, 'note')} in both: {counted(about['changed'], 'finding')} changed, "
        f"{about['appeared']} appeared, {about['vanished']} vanished, {changes.same} the same\n"
    )
    for name, what in (
        ("only_old", "not read now"), ("only_new", "not read before"), ("other_text", "with another text"),
    ):  # fmt: skip
        if about[name]:
            stream.write(f"{counted(len(about[name]), 'note')} {what}\n")
    if changes.old_vocabulary == changes.new_vocabulary:
        stream.write("both were read with the same vocabulary\n")


def _said(one: "ChangedFinding", vocabulary: "Vocabulary") -> str:
    """The finding in shorthand, before and now; the fields, where both are written alike."""
    from converter.reading.shorthand import shorthand_of

    written = [shorthand_of([side], vocabulary).text for side in (one.old, one.new) if side]
    if len(written) == 1:
        return f"{written[0]}  {_words(one.new or one.old)}"
    if written[0] != written[1]:
        return f"{written[0]} -> {written[1]}  {_words(one.new)}"
    told = [f"{name} {_short(old)} -> {_short(new)}" for name, (old, new) in one.fields.items()]
    return f"{written[1]}  {', '.join(told)}"


def _words(finding: Finding | None) -> str:
    return f"\u201c{shortened(finding.quote)}\u201d" if finding else ""


def _short(value: object) -> str:
    if isinstance(value, list):
        return f"{len(value)} places"
    return "nothing" if value in _EMPTY else shortened(str(value))
