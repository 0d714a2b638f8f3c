"""`plexor score --archive`: what people judged in an archive, as shares with intervals and as labels."""

from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from converter.cli.output import Format, json_line, opened
from converter.cli.tables import counted, show_table

if TYPE_CHECKING:
    from converter.cli.options import Job
    from converter.labelling import Judged

_KINDS = {
    "finding": "findings that are right",
    "look_alike": "look-alikes that are no finding",
    "unread": "unread wording without a finding",
    "elsewhere": "findings missed elsewhere",
}
_CAUTION = (
    "For records work, not a diagnosis. Findings that nobody pointed at are not counted: recall is an upper"
    " bound."
)


def score_archive(
    stream: TextIO,
    archive: Path,
    labels: Path | None,
    job: "Job",
    format_: Format,
    errors: int,
    resamples: int,
    seed: int,
) -> int:
    """Write the shares of right ones, and the score of the notes in which everything was judged."""
    from converter.cli.score import write_score
    from converter.labelling import judged_in

    judged = judged_in(archive, job.session)
    shares = _shares(judged)
    if labels is not None:
        _write_labels(labels, judged)
    if format_ is Format.TEXT:
        _show(stream, judged, shares)
    if judged.labels or format_ is not Format.TEXT:
        how = (format_, errors, resamples, seed)
        write_score(
            stream, judged.labels, judged.predicted, job.session, *how, judged=shares, caution=_CAUTION
        )
    if format_ is Format.TEXT:
        stream.write(f"\n{_CAUTION}\n")
    return job.troubles.status


def _shares(judged: "Judged") -> list[dict[str, Any]]:
    """Each kind with its share of right ones and the interval, findings also by family."""
    from converter.score.proportion import wilson

    kinds: dict[tuple[str, str], tuple[int, int]] = {}
    for (kind, family), total in sorted(judged.judged.items()):
        count = judged.right[kind, family]
        for name in dict.fromkeys(((kind, ""), (kind, family))):
            before = kinds.get(name, (0, 0))
            kinds[name] = (before[0] + count, before[1] + total)
    rows = []
    for (kind, family), (count, total) in kinds.items():
        interval = wilson(count, total)
        ends = [round(interval.low, 4), round(interval.high, 4)]
        share = round(count / total, 4)
        rows.append(
            {
                "kind": kind,
                "family": family,
                "judged": total,
                "right": count,
                "share": share,
                "interval": ends,
            }
        )
    return rows


def _show(stream: TextIO, judged: "Judged", shares: list[dict[str, Any]]) -> None:
    if not shares:
        stream.write("nothing in this archive was judged yet\n")
        return
    rows = [
        (
            f"  of them {row['family']}" if row["family"] else _KINDS[row["kind"]],
            f"{row['right']} of {row['judged']}",
            f"{row['share']:.3f}",
            f"{row['interval'][0]:.3f} to {row['interval'][1]:.3f}",
        )
        for row in shares
        if row["kind"] != "elsewhere"
    ]
    show_table(stream, ("judged in the archive", "count", "share", "95 % interval (Wilson)"), rows)
    missed = judged.judged.get(("elsewhere", ""), 0) - judged.right.get(("elsewhere", ""), 0)
    if missed:
        stream.write(f"{counted(missed, 'finding')} added where the reader saw nothing\n")
    whole = counted(len(judged.labels), "note")
    stream.write(f"\n{whole} judged throughout; {counted(judged.partly, 'note')} in part, left out below\n\n")


def _write_labels(file: Path, judged: "Judged") -> None:
    with opened(file) as stream:
        for label in judged.labels.values():
            text = {} if label.text is None else {"text": label.text}
            stream.write(json_line({"id": label.id} | text | {"findings": list(label.findings)}) + "\n")
