"""Measures everything in one run and writes `RESULTS.md` beside this file; `make bench` runs it.

Run: python tests/benchmarks/run.py [NAME ...], with names such as `reading`; without names all are measured.
With names the results are only printed.
"""

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path

from measuring import ROUNDS, Figure, busy, machine

NAMES = ("fhir", "check", "starting", "reading", "compiled", "archive")
"""The archive comes last: its million findings would weigh on whatever is measured after it."""
RESULTS = Path(__file__).parent / "RESULTS.md"
HEAD = "| measured | ours | reference | ratio | aim | met |\n|---|---|---|---|---|---|"


def main(names: list[str]) -> int:
    """Measure; 1 where something could not be. The results are written after each part, so none is lost."""
    about, failed, rows = machine(), [], []
    left = list(names or NAMES)
    while left:
        name = left.pop(0)
        try:
            for figure in importlib.import_module(f"bench_{name}").figures():
                rows.append(row_of(figure))
                print(rows[-1], flush=True)
        except Exception as error:
            failed.append(name)
            print(f"{name}: could not be measured ({type(error).__name__}: {error})", file=sys.stderr)
        if not names:
            text = "\n".join([*preface(about), HEAD, *rows, *ending([*failed, *left]), ""])
            RESULTS.write_text(text, encoding="utf-8")
    return 1 if failed else 0


def row_of(figure: Figure) -> str:
    """A figure as a row of the table."""
    met = {True: "yes", False: "no", None: "-"}[figure.met]
    cells = (figure.name, figure.ours, figure.reference, figure.ratio, figure.aim or "-", met)
    return f"| {' | '.join(cells)} |"


def preface(about: str) -> Iterator[str]:
    """What stands above the table."""
    yield "# Measured speed"
    yield ""
    yield f"Written by `make bench`; medians of {ROUNDS} rounds unless said, ours and the reference in turns."
    yield f"Machine at the beginning: {about}."
    yield ""
    yield "Seconds differ from machine to machine; what counts is the ratio to a reference of the same run."
    yield ""


def ending(failed: list[str]) -> Iterator[str]:
    """How busy the machine was at the end, and what was not measured."""
    yield ""
    yield f"At the end: {busy()}."
    if failed:
        yield ""
        yield f"Not measured: {', '.join(failed)}."


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
