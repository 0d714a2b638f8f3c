"""Writes every definition into a folder: `python -m converter.fhir.definitions profiles/definitions`."""

import sys
from pathlib import Path

from converter.fhir.definitions.all import definition_files
from converter.fhir.json_text import indented_json_text
from converter.words import shipped_vocabulary


def main(folder: Path) -> None:
    """Write each definition that is not there yet in the same words."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, definition in definition_files(shipped_vocabulary()).items():
        (folder / name).write_text(indented_json_text(definition), encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
