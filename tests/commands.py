"""Runs plexor in the tests: inside this process, or as a program of its own where that matters."""

import os
import signal
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from converter.cli.app import app


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    status: int
    out: str
    err: str


def plexor(*arguments: str | Path, stdin: str | bytes | None = None) -> Ran:
    """Run a command inside this process."""
    result = CliRunner().invoke(app, [str(argument) for argument in arguments], input=stdin)
    return Ran(result.exit_code, result.stdout, result.stderr)


def program(*arguments: str | Path, cwd: Path | None = None, env: dict[str, str] | None = None) -> Ran:
    """Run a command as a program of its own."""
    done = subprocess.run(
        [sys.executable, "-c", "from converter.cli.app import main; main()", *map(str, arguments)],
        capture_output=True,
        cwd=cwd,
        env={**os.environ, **(env or {})},
        timeout=120,
        check=False,
    )
    return Ran(done.returncode, done.stdout.decode(), done.stderr.decode())


def stop_from_keyboard_works() -> None:
    """Let a program that is started heed SIGINT: whoever runs the tests in the background has it ignored."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
