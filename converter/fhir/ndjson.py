"""NDJSON files, one per kind of resource, with literal ids; replaced as a whole at the end of a run.

Lines of earlier runs stay where their note has not come again.
"""

import json
from pathlib import Path
from typing import IO, Any

from converter.fhir.json_text import json_text
from converter.fhir.ledger import Ledger


class NdjsonFiles:
    """The NDJSON files of one folder during one run."""

    def __init__(self, folder: Path, ledger: Ledger) -> None:
        """Open a folder that exists; the ledger knows which note each earlier line belongs to."""
        self._folder = folder
        self._ledger = ledger
        self._open: dict[str, IO[str]] = {}
        self._devices: set[str] = set()

    def write(self, resources: list[dict[str, Any]]) -> None:
        """Add the resources of one note; the program's Device is written once."""
        for resource in resources:
            if resource["resourceType"] == "Device":
                if resource["id"] in self._devices:
                    continue
                self._devices.add(resource["id"])
            self._file(resource["resourceType"]).write(json_text(resource) + "\n")

    def close(self) -> None:
        """Carry over the lines of notes that did not come again, and put the files in place."""
        for resource_type in self._types():
            target = self._folder / f"{resource_type}.ndjson"
            if target.exists():
                self._carry_over(target, self._file(resource_type))
        for resource_type, lines in self._open.items():
            lines.close()
            self._part(resource_type).replace(self._folder / f"{resource_type}.ndjson")

    def abandon(self) -> None:
        """Remove what is half-written."""
        for resource_type, lines in self._open.items():
            lines.close()
            self._part(resource_type).unlink(missing_ok=True)

    def _types(self) -> list[str]:
        """Every kind that has a file already or gets one."""
        return sorted({*self._open, *(file.stem for file in self._folder.glob("*.ndjson"))})

    def _carry_over(self, old: Path, into: IO[str]) -> None:
        with old.open(encoding="utf-8") as lines:
            for line in lines:
                resource = json.loads(line)
                if not self._comes_again(resource["resourceType"], resource["id"]):
                    into.write(line)

    def _comes_again(self, resource_type: str, uuid: str) -> bool:
        """Whether this run has written a resource, or taken over the note that it belonged to."""
        if resource_type == "Device":
            return uuid in self._devices
        return self._ledger.written_by_this_run(f"{resource_type}/{uuid}")

    def _file(self, resource_type: str) -> IO[str]:
        if resource_type not in self._open:
            part = self._part(resource_type)
            self._open[resource_type] = part.open("w", encoding="utf-8", errors="replace", newline="\n")
        return self._open[resource_type]

    def _part(self, resource_type: str) -> Path:
        return self._folder / f"{resource_type}.ndjson.part"
