"""Runs every benchmark beside this file, one after another, each in a process of its own."""

import subprocess
import sys
from pathlib import Path


def main() -> int:
    """Run them all; the exit status is 1 if one could not run."""
    folder = Path(__file__).parent
    failed = []
    for file in [*sorted(folder.glob("bench_*.py")), folder / "corpus_run.py"]:
        print(f"== {file.stem}", flush=True)
        if subprocess.run([sys.executable, str(file)], check=False).returncode:
            failed.append(file.stem)
    if failed:
        print("could not run:", ", ".join(failed))
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
