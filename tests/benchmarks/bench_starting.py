"""How long the program takes to start, beside a bare Python: `--help`, and `read` on one line."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

from measuring import Figure, machine, run_program, side_by_side


def figures() -> Iterator[Figure]:
    """All figures of starting."""
    with tempfile.TemporaryDirectory() as folder:
        note = Path(folder) / "one.jsonl"
        note.write_text('{"id": "n1", "text": "KJ 2+/3+"}\n', encoding="utf-8")
        bare, helped, one = side_by_side(
            lambda: subprocess.run([sys.executable, "-c", "pass"], check=True),
            lambda: run_program(["--help"]),
            lambda: run_program(["read", str(note), "--format", "jsonl"]),
        )
    beside = f"{bare:.3f} s (python -c pass)"
    yield Figure("start of --help", f"{helped:.3f} s", beside, f"{helped / bare:.1f}")
    yield Figure("start of read on one line", f"{one:.3f} s", beside, f"{one / bare:.1f}")


if __name__ == "__main__":
    print(machine())
    for figure in figures():
        print(figure)
