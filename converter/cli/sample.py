"""`plexor sample`: a random sample of what was read, as a sheet for people to judge."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.amend import ArchiveArgument
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from converter.sampling import Drawn, SampleOptions

EXAMPLE = """\b
In the sheet, fill in verdict:
  confirmed    the finding is right
  corrected    it is right as you write it: in site, side, value, status or scale
  rejected     there is no such finding
  added        of unread wording or a look-alike: there is a finding; write its site, side and value
  no_finding   of unread wording or a look-alike: there is none

\b
Example:
  plexor sample findings.duckdb --out sheet.csv
  plexor sample findings.duckdb --half-width 0.02 --expect 0.97 --kind finding --out sheet.csv
  plexor sample findings.duckdb --size 50 --by family --seed 7 --out sheet.csv
  plexor amend findings.duckdb sheet.csv --by reviewer-1"""

_CAUTION = (
    "For records work, not a diagnosis. The sheet holds words of notes: keep it where notes may be kept."
)


_Size = Annotated[int | None, typer.Option("--size", min=1, metavar="N", help="How many of each kind.")]
_HalfWidth = Annotated[
    float,
    typer.Option(
        "--half-width",
        metavar="SHARE",
        help="Without --size: as many as it takes for an interval this far to either side.",
    ),
]
_Expect = Annotated[
    float, typer.Option("--expect", metavar="SHARE", help="The share of right ones that you expect.")
]
_Confidence = Annotated[float, typer.Option("--confidence", metavar="SHARE", help="Of the interval.")]
_Kind = Annotated[
    list[str] | None,
    typer.Option("--kind", metavar="KIND", help="finding, look_alike or unread; may be repeated."),
]
_Strata = Annotated[
    str, typer.Option("--by", metavar="NAMES", help="Strata: family, examiner, certainty; or none.")
]
_Seed = Annotated[int, typer.Option("--seed", metavar="N", help="Another seed, another sample.")]
_Format = Annotated[Format, typer.Option("--format", help="csv, json or jsonl.")]


def sample(
    archive: ArchiveArgument,
    size: _Size = None,
    half_width: _HalfWidth = 0.05,
    expect: _Expect = 0.9,
    confidence: _Confidence = 0.95,
    kind: _Kind = None,
    by: _Strata = "family,examiner,certainty",
    seed: _Seed = 1,
    format_: _Format = Format.CSV,
    out: Out = None,
    config: Config = None,
) -> int:
    """Draw a sample for people to judge. Findings, look-alikes and unread wording, at random in strata.

    What was judged before is left out. The same archive and seed give the same sheet. Give it back, judged,
    with plexor amend; plexor score --archive then tells how often the reader is right.
    """
    from converter.review.sampling import KINDS, STRATA
    from converter.sampling import SampleOptions

    if format_ is Format.TEXT:
        raise CannotRunError("--format text: a sheet is written as csv, json or jsonl")
    options = SampleOptions(
        size=size,
        half_width=half_width,
        expected=expect,
        confidence=confidence,
        kinds=_known("--kind", kind or KINDS, KINDS),
        by=_known("--by", [] if by == "none" else by.split(","), STRATA),
        seed=seed,
    )
    _write(archive, options, format_, out, config)
    return CLEAN


def _write(
    archive: Path, options: "SampleOptions", format_: Format, out: Path | None, config: Path | None
) -> None:
    from converter.api import open_session
    from converter.review.sheet import COLUMNS
    from converter.sampling import sample as drawn_from

    try:
        drawn = drawn_from(archive, open_session(settings_of(config)), options)
    except ValueError as error:
        raise CannotRunError(str(error)) from error
    with opened(out) as stream, records_to(stream, format_, COLUMNS) as write:
        for row in drawn.rows:
            write({name: row.get(name) for name in COLUMNS})
    _tell(drawn, options)


def _known(option: str, asked: "Sequence[str]", known: "Sequence[str]") -> tuple[str, ...]:
    for name in asked:
        if name not in known:
            raise CannotRunError(f"{option} {name}: choose from {', '.join(known)}")
    return tuple(asked)


def _tell(drawn: "Drawn", options: "SampleOptions") -> None:
    from converter.score.proportion import sample_size

    for kind, sample_ in drawn.samples.items():
        what = kind.replace("_", "-") if kind != "unread" else "piece of unread wording"
        what = counted(drawn.population[kind], what).replace("wordings", "wording")
        strata = counted(len(sample_.population), "stratum").replace("stratums", "strata")
        without = sum(not number for number in sample_.drawn.values())
        missed = (
            f"; {counted(without, 'stratum').replace('stratums', 'strata')} not reached" if without else ""
        )
        typer.echo(f"{len(sample_.items)} of {what}, {strata}{missed}", err=True)
    if options.size is None:
        size = sample_size(options.expected, options.half_width, options.confidence)
        typer.echo(
            f"If {options.expected:.0%} are right, {size} judgements give a {options.confidence:.0%} interval"
            f" (Wilson) of {options.half_width * 100:g} points to either side; fewer where there are few.",
            err=True,
        )
    typer.echo(_CAUTION, err=True)
