"""A program that holds one session on a cluster and does what it is told, line by line.

Each line of its input is JSON, `{"do": NAME, ...}`; so is each line of its output. It is a process of its
own, so that Spark and what it imports stay out of the tests' process.
"""

import io
import json
import os
import sys
from collections.abc import Callable
from contextlib import redirect_stderr
from dataclasses import asdict
from pathlib import Path
from typing import Any
from unittest.mock import patch

from cluster_works import Troubled
from typer.testing import CliRunner

from converter import frames, resource_frames
from converter.api import Session, open_session
from converter.check import Definitions
from converter.cli.app import app
from converter.datasets import notes_in
from converter.engines import Done, EngineError, Machines, cluster_task, engine_on
from converter.engines.cluster_session import connected
from converter.engines.cluster_tally import Tally
from converter.sources import SourceOptions, open_notes
from converter.works import ToLines, ToResources


def command(master: str, arguments: list[str]) -> dict[str, Any]:
    """A command of plexor."""
    result = CliRunner().invoke(app, arguments)
    return {"status": result.exit_code, "out": result.stdout, "err": result.stderr}


def troubled(master: str, notes: str, out: str, machines: list[int], mark: str) -> dict[str, Any]:
    """The records of notes, some of which ask for trouble."""
    work = Troubled(ToLines(open_session()), tuple(machines), Path(mark))
    told: list[str] = []
    items = open_notes([notes], SourceOptions())
    with engine_on(Machines(master=master), work, lambda one: told.append(one.code)) as engine:
        lines = [one.result.text + "\n" for one in engine.run(items) if isinstance(one, Done)]
    Path(out).write_text("".join(lines), encoding="utf-8")
    return {"account": asdict(engine.account), "told": told}


def troubled_command(master: str, arguments: list[str], machines: list[int], mark: str) -> dict[str, Any]:
    """A command that takes a data set, some of whose notes ask for trouble."""

    def lines(session: Session) -> Troubled:
        return Troubled(ToLines(session), tuple(machines), Path(mark))

    def resources(session: Session, definitions: Definitions | None) -> Troubled:
        return Troubled(ToResources(session, definitions), tuple(machines), Path(mark))

    with patch.object(frames, "ToLines", lines), patch.object(resource_frames, "ToResources", resources):
        return command(master, arguments)


def taken(master: str, notes: str, columns: dict[str, str]) -> dict[str, Any]:
    """The notes of a data set as a cluster takes them, and how many were counted."""
    options = SourceOptions(columns=columns)
    with connected(master) as spark:
        tally = Tally(spark.sparkContext)
        read = frames.readings_of(notes_in(spark, [notes], options), open_session(), tally, options)
        rows = [row.asDict() for row in read.collect()]
        return {"notes": rows, "counts": dict(tally.total())}


def frame(master: str, rows: list[dict[str, str]]) -> dict[str, Any]:
    """Notes as a frame, its findings as the Python function gives them, and what was counted twice over."""
    session = open_session()
    with connected(master) as spark:
        schema = ", ".join(f"{name} string" for name in rows[0])
        notes = spark.createDataFrame([tuple(row.values()) for row in rows], schema).repartition(3)
        tally = Tally(spark.sparkContext)
        findings = frames.findings_of(notes, session, tally)
        given = [row.asDict(recursive=True) for row in findings.collect()]
        once = dict(tally.total())
        findings.collect()
        return {"findings": given, "once": once, "twice": dict(tally.total())}


def other_version(master: str, notes: str) -> dict[str, Any]:
    """Read notes as a version of the program that the cluster does not have."""
    items = open_notes([notes], SourceOptions())
    with (
        patch.object(cluster_task, "installed_version", lambda: "0.0.1"),
        engine_on(Machines(master=master), ToLines(open_session()), lambda _: None) as engine,
    ):
        return {"lines": sum(1 for _ in engine.run(items))}


def environment(master: str, **variables: str) -> dict[str, Any]:
    """Set variables of this process."""
    os.environ.update(variables)
    return {}


DOES: dict[str, Callable[..., dict[str, Any]]] = {
    "command": command,
    "environment": environment,
    "frame": frame,
    "other_version": other_version,
    "taken": taken,
    "troubled": troubled,
    "troubled_command": troubled_command,
}


def main() -> None:
    """Do what comes in, until nothing comes."""
    master = sys.argv[1]
    answers = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)
    with connected(master):
        for line in sys.stdin:
            asked = json.loads(line)
            said = io.StringIO()
            try:
                with redirect_stderr(said):
                    answer = DOES[asked.pop("do")](master, **asked)
            except EngineError as error:
                answer = {"error": str(error)}
            answers.write(json.dumps(answer) + "\n")
            answers.flush()


if __name__ == "__main__":
    main()
