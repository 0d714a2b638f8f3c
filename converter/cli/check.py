"""`plexor check`: FHIR resources against profiles."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.clock import new_run, now
from converter.cli.flowing import Column, FlowingTable
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, json_line, opened, records_to
from converter.cli.running import CLEAN, INPUT_ERRORS, CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import is_error
from converter.model import Diagnostic, Severity

if TYPE_CHECKING:
    from converter.api import Session

Read = tuple[str, dict[str, Any]] | Diagnostic

_COLUMNS = (
    Column("severity", width=11),
    Column("in the resource", share=29),
    Column("in the note", width=11),
    Column("what is wrong", share=44),
    Column("expected", share=27),
)
_RULE_COLUMNS = (
    Column("times", width=6),
    Column("severity", width=11),
    Column("fault", share=23),
    Column("rule", share=20),
    Column("for example", share=23),
    Column("what is wrong", share=34),
)

_REMARKS = 3
"""Remarks (information) of one kind that the table shows; errors and warnings are all shown."""

EXAMPLE = """\b
Example:
  plexor check fhir/
  plexor check Observation.ndjson --profile http://hl7.org/fhir/StructureDefinition/Observation
  plexor check fhir/ --profiles our-profiles/ --format json"""


@dataclass(slots=True)
class Counts:
    """What a check came to.

    Attributes:
        resources: resources checked; those inside a Bundle count one by one.
        missing: inputs that are not there.
        errors, warnings: what was found.
    """

    resources: int = 0
    missing: int = 0
    errors: int = 0
    warnings: int = 0

    @property
    def nothing(self) -> bool:
        """Whether no input was there."""
        return bool(self.missing) and not self.resources and self.errors == self.missing

    def __str__(self) -> str:
        found = f"{counted(self.errors, 'error')}, {counted(self.warnings, 'warning')}"
        return f"{counted(self.resources, 'resource')} checked, {found}"


@dataclass(frozen=True, slots=True)
class How:
    """How resources are checked and the result is written.

    Attributes:
        format: text, json, jsonl or csv.
        release: `R4` or `R5`; else the one of the settings.
        must_support: also tell which must-support elements are left out.
        by_rule: count the faults by rule.
        second: also give the opinion of another library on what the base definitions ask.
    """

    format: Format
    release: str | None = None
    must_support: bool = False
    by_rule: bool = False
    second: bool = False


MustSupport = Annotated[
    bool, typer.Option("--must-support", help="Also tell which must-support elements are left out.")
]
ByRule = Annotated[bool, typer.Option("--by-rule", help="Count the faults by rule, each with one example.")]
SecondOpinion = Annotated[
    bool,
    typer.Option(
        "--second-opinion",
        help="Also tell, as warnings, what the models of the library fhir.resources refuse.",
    ),
]


def check(
    inputs: Annotated[
        list[str],
        typer.Argument(metavar="INPUT", help="FHIR JSON, NDJSON or XML: files, folders, patterns, or - ."),
    ],
    profile: Annotated[
        list[str] | None,
        typer.Option(metavar="CANONICAL", help="A profile besides those in meta.profile. May be repeated."),
    ] = None,
    profiles: Annotated[
        list[Path] | None,
        typer.Option(
            metavar="DIR", help="A folder of definitions besides the shipped ones. May be repeated."
        ),
    ] = None,
    release: Annotated[
        str | None, typer.Option(metavar="RELEASE", help="R4 or R5; else the one of the settings.")
    ] = None,
    must_support: MustSupport = False,
    by_rule: ByRule = False,
    second: SecondOpinion = False,
    format_: Annotated[
        Format, typer.Option("--format", help="text (a table), json (an OperationOutcome), jsonl or csv.")
    ] = Format.TEXT,
    out: Out = None,
    config: Config = None,
) -> int:
    """Check FHIR against profiles. Base rules, bindings and invariants are checked too."""
    _refuse_unknown(release, profiles or ())
    session = _session(config)
    how = How(format_, release, must_support, by_rule, second)
    with opened(out) as stream:
        counts = check_files(stream, how, inputs, session, profile or (), profiles or ())
        if counts.nothing:
            raise CannotRunError("there is nothing to check")
    return INPUT_ERRORS if counts.errors else CLEAN


def _session(config: Path | None) -> "Session":
    from converter.api import open_session

    return open_session(settings_of(config), run=new_run(), time=now())


def _refuse_unknown(release: str | None, folders: Iterable[Path]) -> None:
    from converter.check import RELEASES

    if release not in (None, *RELEASES):
        raise CannotRunError(f"--release {release}: known are {', '.join(RELEASES)}")
    for folder in folders:
        if not folder.exists():
            raise CannotRunError(f"--profiles {folder}: there is no such folder")


def check_files(
    stream: TextIO,
    how: "How",
    inputs: Iterable[str | Path],
    session: "Session",
    profiles: Sequence[str] = (),
    folders: Iterable[Path] = (),
) -> Counts:
    """Check the resources of files and write what is wrong with them."""
    from converter import api
    from converter.check import read_resources

    counts = Counts()
    release = how.release or session.fhir.release
    checker, problems = api.open_checker(session, folders, release, how.must_support)
    resources = _counted(read_resources(inputs, release=release), counts)
    judged = api.check_resources(resources, checker, profiles, second=how.second)
    found = _weighed(chain(problems, judged), counts)
    if how.by_rule:
        _write_rules(stream, how.format, found)
    elif how.format is Format.JSON:
        from converter.check import operation_outcome

        stream.write(json_line(operation_outcome(found)) + "\n")
    elif how.format is Format.TEXT:
        write_table(stream, found)
    else:
        with records_to(stream, how.format, [field.name for field in fields(Diagnostic)]) as write:
            for trouble in found:
                write(_record(trouble))
    if how.format is Format.TEXT:
        stream.write(f"{counts}\n")
    return counts


def write_table(stream: TextIO, found: Iterable[Diagnostic]) -> None:
    """Write a table of what is wrong, under the place where each resource stands."""
    from converter.check import table_row

    table, last = FlowingTable(stream, _COLUMNS), None
    remarks: Counter[tuple[str, str | None]] = Counter()
    for trouble in found:
        if trouble.severity is Severity.INFORMATION:
            kind = (trouble.code, trouble.expected or trouble.rule)
            remarks[kind] += 1
            if remarks[kind] > _REMARKS:
                continue
        place = _place(trouble)
        if place != last:
            table.section(place)
            last = place
        table.row(table_row(trouble))
    more = sum(max(count - _REMARKS, 0) for count in remarks.values())
    if more:
        stream.write(f"{more} more remarks of the same kinds are not shown; --by-rule counts them\n")


def _place(trouble: Diagnostic) -> str:
    where = trouble.source or "definitions"
    return f"{where}:{trouble.line}" if trouble.line is not None else where


def _write_rules(stream: TextIO, format_: Format, found: Iterable[Diagnostic]) -> None:
    """Write how often each rule was broken."""
    from converter.check import short_name, summary_by_rule

    rows = summary_by_rule(found)
    if format_ is Format.TEXT:
        table = FlowingTable(stream, _RULE_COLUMNS)
        for row in rows:
            path, rule = row["path"] or "", short_name(row["rule"] or "")
            message = row["message"].removeprefix(path).removeprefix(":").strip()
            table.row([str(row["count"]), row["severity"], row["code"], rule, path, message])
        return
    with records_to(stream, format_, ["severity", "code", "rule", "count", "path", "message"]) as write:
        for row in rows:
            write(row)


def _counted(resources: Iterable[Read], counts: Counts) -> Iterator[Read]:
    from converter.fhir.ledger import LEDGER

    for item in resources:
        place = item.source or "" if isinstance(item, Diagnostic) else item[0]
        if LEDGER in (Path(place).name, Path(place.rpartition(":")[0]).name):
            continue  # the memory of `plexor convert` lies beside the resources and is none of them
        if not isinstance(item, Diagnostic):
            entries = item[1].get("entry") if item[1].get("resourceType") == "Bundle" else None
            counts.resources += len(entries) if isinstance(entries, list) else 1
        yield item


def _weighed(troubles: Iterable[Diagnostic], counts: Counts) -> Iterator[Diagnostic]:
    for trouble in troubles:
        counts.missing += trouble.code == "input-missing"
        counts.errors += is_error(trouble)
        counts.warnings += trouble.severity is Severity.WARNING
        yield trouble


def _record(trouble: Diagnostic) -> dict[str, Any]:
    return asdict(trouble) | {"severity": str(trouble.severity)}
