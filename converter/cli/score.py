"""`plexor score`: findings against a team's own labelled notes."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.options import Columns, Config, Encoding, InputFormat, Out, job_of
from converter.cli.output import Format, json_line, opened
from converter.cli.running import CannotRunError
from converter.cli.score_archive import score_archive
from converter.cli.tables import shortened, show_table
from converter.cli.troubles import Troubles, visible
from converter.model import Note

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from converter.api import Session
    from converter.cli.options import Job
    from converter.model import Finding
    from converter.score import Labelled, Predicted, Rates, Score, ScoringError

EXAMPLE = """\b
Example:
  plexor score labelled.jsonl
  plexor score labelled.jsonl notes.csv
  plexor score labelled.jsonl findings.jsonl --format json --errors 50
  plexor score --archive findings.duckdb
  plexor score --archive findings.duckdb --labels labelled.jsonl"""

_MEASURES = {"detection": "reflex and side", "full": "reflex, side and value"}
_MODES = {"strict": "side as labelled", "lenient": "a side not stated counts as both"}


_Gold = Annotated[
    Path | None, typer.Argument(metavar="GOLD", help="JSON lines with id, text (or passage) and findings.")
]
_Archive = Annotated[
    Path | None,
    typer.Option("--archive", metavar="FILE", help="Measure by what people judged in this archive."),
]
_Labels = Annotated[
    Path | None,
    typer.Option("--labels", metavar="FILE", help="With --archive: also write its labels, as a GOLD file."),
]
_Against = Annotated[
    Path | None,
    typer.Argument(
        metavar="NOTES-OR-PREDICTIONS",
        help="JSON lines with id and findings are taken as predictions; other files are read as notes. "
        "Without it the texts in GOLD are read.",
    ),
]
_Format = Annotated[Format, typer.Option("--format", help="text for people, json or jsonl for one record.")]
_Errors = Annotated[int, typer.Option(min=0, metavar="N", help="How many errors to show, worst first.")]
_Resamples = Annotated[
    int, typer.Option(min=0, metavar="N", help="Resamples for the 95 % intervals; 0 for none.")
]
_Seed = Annotated[int, typer.Option(metavar="N", help="Seed of the resampling.")]


def score(
    gold: _Gold = None,
    against: _Against = None,
    format_: _Format = Format.TEXT,
    errors: _Errors = 10,
    resamples: _Resamples = 1000,
    seed: _Seed = 1,
    archive: _Archive = None,
    labels: _Labels = None,
    out: Out = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    encoding: Encoding = None,
) -> int:
    """Measure findings against labelled notes. Shows rates with intervals, and the worst errors.

    With --archive the labels are what people judged there, by a sheet or on the review page: a note counts
    as labelled where everything in it was judged. Its text is read again, by the words of now.
    """
    _refuse_what_contradicts(gold, archive, labels, format_)
    inputs = [str(against)] if against else []
    with job_of(inputs, config, input_format, columns, None, encoding, None) as job, opened(out) as stream:
        if archive is not None:
            return score_archive(stream, archive, labels, job, format_, errors, resamples, seed)
        gold = gold or Path()
        labelled = _labelled(gold, job.troubles)
        predicted = _predicted(labelled, gold, against, job)
        write_score(stream, labelled, predicted, job.session, format_, errors, resamples, seed)
    return job.troubles.status


def _refuse_what_contradicts(
    gold: Path | None, archive: Path | None, labels: Path | None, format_: Format
) -> None:
    if format_ is Format.CSV:
        raise CannotRunError("--format csv: a score is written as text, json or jsonl")
    if (gold is None) == (archive is None):
        raise CannotRunError("score: give GOLD, or --archive FILE")
    if labels is not None and archive is None:
        raise CannotRunError("--labels FILE: only with --archive")


def write_score(
    stream: TextIO,
    labelled: "Mapping[str, Labelled]",
    predicted: "Mapping[str, Predicted]",
    session: "Session",
    format_: Format,
    errors: int,
    resamples: int,
    seed: int,
    **more: Any,
) -> None:
    """Measure predictions and write the score; a record also holds what else is given."""
    from converter.score import errors_of, measured, score_record
    from converter.score.words import canonical_words

    words = canonical_words(session.vocabulary)
    result = measured(labelled, predicted, words, resamples=resamples, seed=seed)
    found = errors_of(labelled, predicted, words)
    if format_ is Format.TEXT:
        _show(stream, labelled, predicted, result, found, errors)
    else:
        stream.write(json_line(score_record(result, found[:errors]) | more) + "\n")


def _labelled(gold: Path, troubles: Troubles) -> "Mapping[str, Labelled]":
    from converter.score import read_gold

    labelled, wrong = read_gold(gold)
    troubles.show_all(wrong)
    if not labelled:
        raise CannotRunError(f"{gold}: there is no labelled note in it")
    return labelled


def _predicted(
    labelled: "Mapping[str, Labelled]", gold: Path, against: Path | None, job: "Job"
) -> "Mapping[str, Predicted]":
    """The predictions of a file, or what the reader finds in the notes."""
    from converter.score import Predicted, read_predictions
    from converter.score.files import holds_findings

    if against is None:
        return _read_texts(labelled, gold, job.session)
    if holds_findings(against):
        if against.samefile(gold):
            raise CannotRunError(
                f"{against}: these are the labels; leave it out to read the texts beside them"
            )
        predicted, wrong = read_predictions(against)
        job.troubles.show_all(wrong)
        return predicted
    return {note.id: Predicted(note.id, _records(reading.findings)) for note, reading in job.readings()}


def _read_texts(
    labelled: "Mapping[str, Labelled]", gold: Path, session: "Session"
) -> "Mapping[str, Predicted]":
    from hashlib import sha256

    from converter.api import read_notes
    from converter.score import Predicted

    missing = [name for name, note in labelled.items() if note.text is None]
    if missing:
        raise CannotRunError(f"{gold}: note {missing[0]} has no text; name the notes or the predictions too")
    notes = (
        Note(id=name, text=note.text or "", hash=sha256((note.text or "").encode()).hexdigest())
        for name, note in labelled.items()
    )
    return {
        note.id: Predicted(note.id, _records(reading.findings))
        for note, reading in read_notes(notes, session)
    }


def _records(findings: "Sequence[Finding]") -> "tuple[Mapping[str, Any], ...]":
    from converter.model.record import finding_to_record

    return tuple(finding_to_record(finding) for finding in findings)


def _show(
    stream: TextIO,
    labelled: "Mapping[str, Labelled]",
    predicted: "Mapping[str, Predicted]",
    result: "Score",
    found: "Sequence[ScoringError]",
    most: int,
) -> None:
    labels = sum(len(note.findings) for note in labelled.values())
    without = result.without_labels
    stream.write(f"{result.notes} labelled notes with {labels} findings; {without} notes have none\n\n")
    rows = [
        (_MODES[mode], _MEASURES[measure], *(_rate(rates, name) for name in ("precision", "recall", "f1")))
        for (mode, measure), rates in result.rates.items()
    ]
    show_table(stream, ("side", "what must agree", "precision", "recall", "F1"), rows)
    stream.write(
        f"\nIn brackets: the middle 95 % of {result.resamples} resamples of the notes, seed {result.seed}.\n"
        if result.resamples
        else "\n"
    )
    for what, number, total, of in (
        ("wholly right", result.all_correct["lenient"], result.notes, "notes"),
        ("something found where there is nothing", len(result.false_alarms), without, "notes"),
        ("nothing found where there is something", len(result.silent), result.notes - without, "notes"),
        ("same status", result.status_agreed, result.status_matched, "matched findings"),
    ):
        stream.write(f"{what}: {number} of {total} {of}\n")
    _show_coverage(stream, labelled, predicted)
    _show_errors(stream, found, most)


def _rate(rates: "Rates", name: str) -> str:
    interval = rates.intervals.get(name)
    ends = f" ({interval.low:.3f} to {interval.high:.3f})" if interval else ""
    return f"{getattr(rates, name):.3f}{ends}"


def _show_coverage(
    stream: TextIO, labelled: "Mapping[str, Labelled]", predicted: "Mapping[str, Predicted]"
) -> None:
    absent = sum(name not in predicted for name in labelled)
    unlabelled = sum(name not in labelled for name in predicted)
    if absent:
        stream.write(f"{absent} labelled notes are not among the predictions; they count as nothing found\n")
    if unlabelled:
        stream.write(f"{unlabelled} predicted notes have no label; they are left out\n")


def _show_errors(stream: TextIO, found: "Sequence[ScoringError]", most: int) -> None:
    if not found or not most:
        return
    stream.write(f"\nthe worst {min(most, len(found))} of {len(found)} errors\n")
    columns = ("note", "error", "reflex", "side", "labelled", "found", "words")
    rows = [
        (
            error.note, error.kind.replace("-", " "), error.site, error.side, error.labelled, error.predicted,
            shortened(visible(error.quote)),
        )
        for error in found[:most]
    ]  # fmt: skip
    show_table(stream, columns, rows)
