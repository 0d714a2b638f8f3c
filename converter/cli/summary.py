"""`plexor summary`: what is abnormal in each exam, and what was not examined."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Annotated, Any, TextIO

import typer

from converter.cli.options import (
    Columns,
    Config,
    Encoding,
    FileName,
    InputFormat,
    Inputs,
    Out,
    System,
    job_of,
)
from converter.cli.output import Format, opened, records_to
from converter.cli.read import show_heading
from converter.cli.tables import counted, shortened
from converter.cli.troubles import line_of, visible
from converter.model import Abnormality, Assessment, Finding, Note, Reading

Read = tuple[Note, Reading, tuple[Assessment, ...]]

EXAMPLE = """\b
Example:
  plexor summary notes.csv
  plexor summary notes.csv --format csv --out abnormal.csv"""

_COLUMNS = (
    "system", "id", "patient", "authored", "author", "exam", "abnormality", "rule", "code", "sites", "side",
    "level", "size", "certainty", "sentence", "words", "hpo", "hpo_label", "modifiers", "source", "caution",
)  # fmt: skip


def summary(
    inputs: Inputs,
    format_: Annotated[
        Format,
        typer.Option(
            "--format", help="text for people, json or jsonl with one record an exam, csv one row each."
        ),
    ] = Format.TEXT,
    out: Out = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
) -> int:
    """Summarise each exam. What is abnormal, by which rule, in whose words; what was not examined."""
    with (
        job_of(inputs, config, input_format, columns, file_name, encoding, system) as job,
        opened(out) as stream,
    ):
        if format_ is Format.TEXT:
            show_summaries(stream, job.assessed())
        else:
            write_summaries(stream, format_, job.assessed())
    return job.troubles.status


def write_summaries(stream: TextIO, format_: Format, read: Iterable[Read]) -> None:
    """Write the summaries as records, one an exam, or in CSV one an abnormality."""
    with records_to(stream, format_, _COLUMNS) as write:
        for note, reading, assessments in read:
            for assessment in assessments:
                for record in _records(note, reading, assessment, format_):
                    write(record)


def show_summaries(stream: TextIO, read: Iterable[Read]) -> None:
    """Write the summary of each exam for people, and each caution that they carry once at the end."""
    cautions: dict[str, None] = {}
    silent = 0
    for note, reading, assessments in read:
        silent += not assessments
        for assessment in assessments:
            _show(stream, note, _by_name(reading), assessment)
            cautions[assessment.caution] = None
    if silent:
        stream.write(f"Without an exam of reflexes: {counted(silent, 'note')}.\n\n")
    for caution in cautions:
        stream.write(f"{caution}\n")


def _show(stream: TextIO, note: Note, findings: Mapping[str, Finding], assessment: Assessment) -> None:
    show_heading(stream, note)
    stream.write(f"  exam {assessment.exam}\n")
    for one in assessment.abnormalities:
        term = f" [{one.hpo} {one.hpo_label}]" if one.hpo else ""
        stream.write(f"    {visible(one.sentence)}{term} ({one.rule})\n")
        stream.write("".join(f"      {words}\n" for words in _words(one, findings)))
    if not assessment.abnormalities:
        stream.write("    nothing abnormal by the rules\n")
    by_reason: dict[str, list[str]] = {}
    for gap in assessment.not_examined:
        side = "" if gap.side == "unspecified" else f"{gap.side} "
        by_reason.setdefault(gap.reason, []).append(f"{side}{gap.site}")
    for reason, places in by_reason.items():
        stream.write(visible(f"    not examined ({reason}): {', '.join(places)}") + "\n")
    for trouble in assessment.diagnostics:
        stream.write(f"    {line_of(trouble)}\n")
    stream.write("\n")


def _records(
    note: Note, reading: Reading, assessment: Assessment, format_: Format
) -> Iterator[dict[str, Any]]:
    from dataclasses import asdict

    about = {name: getattr(note, name) for name in ("system", "id", "patient", "authored", "author")}
    if format_ is not Format.CSV:
        yield about | _plain(asdict(assessment))
        return
    findings = _by_name(reading)
    for one in assessment.abnormalities:
        words = " | ".join(_words(one, findings))
        yield about | asdict(one) | {"words": words, "caution": assessment.caution}


def _plain(record: dict[str, Any]) -> dict[str, Any]:
    """Severities as text."""
    record["diagnostics"] = [
        {**trouble, "severity": str(trouble["severity"])} for trouble in record["diagnostics"]
    ]
    return record


def _words(one: Abnormality, findings: Mapping[str, Finding]) -> list[str]:
    """The words that an abnormality rests on, each once."""
    quotes = (shortened(findings[name].quote) for name in one.rests_on if name in findings)
    return [visible(f"\u201c{quote}\u201d") for quote in dict.fromkeys(quotes)]


def _by_name(reading: Reading) -> dict[str, Finding]:
    return {finding.finding: finding for finding in reading.findings}
