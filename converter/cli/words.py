"""`plexor words`: what words mean to the program, which file says so, and checks of a site's own files."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import shortened, show_table
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.settings import Settings
    from converter.words import Vocabulary, Word
    from converter.words.report import Entry

EXAMPLE = """\b
Example:
  plexor words KJ
  plexor words --role manoeuvre
  plexor words --check our-words.csv
  plexor words suggest findings.duckdb --out proposed.csv"""

_COLUMNS = ("wording", "role", "meaning", "flags", "place", "in_force", "phrase", "source")
_MOST = 8


_Asked = Annotated[
    list[str] | None,
    typer.Argument(
        metavar="WORDS",
        help="What to look up, e.g. KJ or 'with reinforcement'. Without: list all. suggest ARCHIVE: "
        "propose rows from what people corrected and from what is often not understood.",
    ),
]
_Role = Annotated[
    str | None, typer.Option(metavar="ROLE", help="List only rows of this role, e.g. site or value.")
]
_CheckFiles = Annotated[
    list[Path] | None,
    typer.Option(metavar="FILE", help="Check a word list (.csv) or table (.toml). May be repeated."),
]
_Format = Annotated[Format, typer.Option("--format", help="text for people, json, jsonl or csv.")]
_AtLeast = Annotated[
    int, typer.Option("--at-least", min=1, metavar="N", help="With suggest: notes behind each row.")
]


def words(
    asked: _Asked = None,
    role: _Role = None,
    check: _CheckFiles = None,
    format_: _Format = Format.TEXT,
    at_least: _AtLeast = 2,
    out: Out = None,
    config: Config = None,
) -> int:
    """Look up words. Lists what they mean and which file says so; checks a site's own lists.

    words suggest ARCHIVE proposes rows for a word list, each with the notes behind it, and applies none.
    """
    settings = settings_of(config)
    if asked and asked[0] == "suggest" and len(asked) > 1:
        return _suggest(asked[1:], settings, at_least, out)
    if check:
        if asked or role:
            raise CannotRunError("--check FILE: name no words and no role beside it")
        return _check(check, settings)
    from converter.words import load_vocabulary

    vocabulary = load_vocabulary(settings.path(name) for name in settings.vocabulary.files)
    with opened(out) as stream:
        if asked:
            _look_up(stream, " ".join(asked), role, format_, vocabulary)
        else:
            _list(stream, role, format_, vocabulary)
    return CLEAN


def _suggest(archives: Sequence[str], settings: "Settings", at_least: int, out: Path | None) -> int:
    """Write proposed rows of a word list."""
    from converter.api import has_text, open_session
    from converter.archive import open_archive
    from converter.suggesting import checked_list, suggestions

    if len(archives) > 1:
        raise CannotRunError("words suggest: name one archive")
    archive = Path(archives[0])
    with open_archive(archive, read_only=True) as store:
        if not has_text(store):
            raise CannotRunError(f"{archive}: the archive holds no text to learn words from")
    session = open_session(settings)
    proposals = suggestions(archive, session, at_least)
    with opened(out) as stream:
        stream.write(checked_list(proposals, f"{archive.name} by {session.program}", session))
    rows = sum(bool(one.role) for one in proposals)
    typer.echo(
        f"{rows} rows proposed, {len(proposals) - rows} wordings for a person to explain;"
        " nothing is applied. The file holds words of notes.",
        err=True,
    )
    return CLEAN


def _check(files: Sequence[Path], settings: "Settings") -> int:
    """Write every problem of the files to standard error; the status is 1 if one of them is an error."""
    from converter.reading.wordings import reads_as
    from converter.words.report import check_files

    missing = next((file for file in files if not file.is_file()), None)
    if missing is not None:
        raise CannotRunError(f"{missing}: there is no such file")
    others = [settings.path(name) for name in settings.vocabulary.files]
    with Troubles() as troubles:
        found = check_files(files, reads_as, others)
        troubles.show_all(found)
        doubts = len(found) - troubles.errors
        typer.echo(f"{len(files)} files checked, {troubles.errors} errors, {doubts} doubts")
        return troubles.status


def _list(stream: TextIO, role: str | None, format_: Format, vocabulary: "Vocabulary") -> None:
    _known_role(role)
    rows = [row for row in vocabulary.rows if role in (None, row.role)]
    if format_ is Format.TEXT:
        ordered = sorted(rows, key=lambda row: (row.role, row.meaning))
        show_table(
            stream, ("role", "meaning", "wordings", "flags", "said in"), [_cells(row) for row in ordered]
        )
        stream.write(f"{len(rows)} rows of wordings\n")
        return
    from converter.words.report import entries_of

    _write(stream, format_, entries_of(rows, vocabulary))


def _known_role(role: str | None) -> None:
    from converter.words.vocabulary import ROLES

    if role is not None and role not in ROLES:
        raise CannotRunError(f"--role {role}: there is no such role; known are {', '.join(sorted(ROLES))}")


def _cells(row: "Word") -> tuple[str, ...]:
    return (row.role, row.meaning, shortened(row.phrase), " ".join(sorted(row.flags)), row.place)


def _look_up(stream: TextIO, asked: str, role: str | None, format_: Format, vocabulary: "Vocabulary") -> None:
    from converter.words.report import entries_of, look_up

    _known_role(role)
    found = look_up(asked, vocabulary)
    entries = [entry for entry in found.entries if role in (None, entry.row.role)]
    if format_ is not Format.TEXT:
        every = [*entries, *found.longer, *entries_of(found.meaning, vocabulary)]
        _write(stream, format_, dict.fromkeys(every))
        return
    for entry in entries:
        stream.write("".join(f"{line}\n" for line in _explained(entry, vocabulary)))
    _show_rows(
        stream,
        "also inside {} longer wordings, which win where they stand",
        [(entry.wording, entry.row.role, entry.row.meaning, entry.row.place) for entry in found.longer],
    )
    _show_rows(
        stream, "{} rows mean this", [(row.phrase, row.role, row.meaning, row.place) for row in found.meaning]
    )
    if not (entries or found.longer or found.meaning):
        near = f"; written nearly so: {', '.join(found.alike)}" if found.alike else ""
        stream.write(f"{asked}: no word list knows these words{near}\n")


def _explained(entry: "Entry", vocabulary: "Vocabulary") -> Iterator[str]:
    """One wording for people: what it is, what it means, and which line of which file says so."""
    row = entry.row
    reflex = (
        vocabulary.reflexes.get(row.meaning.partition(":")[0]) if row.role in ("site", "region") else None
    )
    label = f" ({reflex.label})" if reflex else ""
    yield f"{entry.wording}: {row.role} {row.meaning}{label}".rstrip()
    if row.flags:
        yield f"  flags: {' '.join(sorted(row.flags))}"
    yield f"  said in {row.place}: {row.phrase}"
    if row.source:
        yield f"  source: {row.source}"
    if not entry.in_force:
        yield "  not in force: another row overrides it"


def _show_rows(stream: TextIO, heading: str, rows: Sequence[tuple[str, ...]]) -> None:
    if not rows:
        return
    stream.write(f"\n{heading.format(len(rows))}\n")
    show_table(
        stream,
        ("wording", "role", "meaning", "said in"),
        [(shortened(row[0]), *row[1:]) for row in rows[:_MOST]],
    )
    if len(rows) > _MOST:
        stream.write(f"  and {len(rows) - _MOST} more; --format csv lists all\n")


def _write(stream: TextIO, format_: Format, entries: "Iterable[Entry]") -> None:
    with records_to(stream, format_, _COLUMNS) as write:
        for entry in entries:
            write(_record(entry))


def _record(entry: "Entry") -> dict[str, Any]:
    row = entry.row
    return {
        "wording": entry.wording,
        "role": row.role,
        "meaning": row.meaning,
        "flags": sorted(row.flags),
        "place": row.place,
        "in_force": entry.in_force,
        "phrase": row.phrase,
        "source": row.source,
    }
