"""Writes the resources of many notes into a folder, as one transaction Bundle per note or NDJSON per type.

Takes resources note by note, as `resources_of` gives them, and keeps none of them in memory. Every file is
written beside its final name and then put in place whole. Notes of earlier runs that do not come again are
left alone; what a note no longer holds is retracted (see `settle`).
"""

import re
from pathlib import Path
from types import TracebackType
from typing import Any, Literal, Protocol, Self

from converter.fhir.bundle import transaction
from converter.fhir.document import source_identifier, text_hash
from converter.fhir.json_text import json_text
from converter.fhir.ledger import Ledger
from converter.fhir.ndjson import NdjsonFiles
from converter.fhir.options import FhirOptions
from converter.fhir.settling import settle
from converter.fhir.xml_text import xml_text
from converter.model import Diagnostic, Severity

_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")

Form = Literal["bundle", "ndjson", "xml"]


class _Files(Protocol):
    def write(self, resources: list[dict[str, Any]]) -> None: ...

    def close(self) -> None: ...

    def abandon(self) -> None: ...


class FolderWriter:
    """Writes into one folder; use it in a `with` block.

    Leaving the block puts the ledger and the NDJSON files in place. Leaving it by an error leaves the earlier
    ones as they were; bundles already written are whole, and the ledger's journal remembers them.
    """

    def __init__(self, folder: Path, options: FhirOptions, form: Form = "bundle") -> None:
        """Open a folder, making it where it is missing.

        Raises:
            OSError: it cannot be made, read or written.
            ValueError: its ledger is damaged.
        """
        folder.mkdir(parents=True, exist_ok=True)
        self._ledger = Ledger(folder)
        self._release = options.release
        self._files: _Files = (
            NdjsonFiles(folder, self._ledger)
            if form == "ndjson"
            else _BundleFiles(folder, options, xml=form == "xml")
        )

    def write(self, resources: list[dict[str, Any]]) -> tuple[Diagnostic, ...]:
        """Write the resources of one note.

        Raises:
            OSError: a file cannot be written.
        """
        document = next(one for one in resources if one["resourceType"] == "DocumentReference")
        seen = self._ledger.seen(document["id"])
        if seen is not None:
            return () if seen == text_hash(document) else (_two_texts(document),)
        settled, entry = settle(resources, self._ledger.previous(document["id"]), self._release)
        self._ledger.record(entry)
        self._files.write(settled)
        return ()

    def close(self) -> None:
        """Put everything in place."""
        self._files.close()
        self._ledger.close()

    def abandon(self) -> None:
        """Stop; what is half-written goes."""
        self._files.abandon()
        self._ledger.abandon(forget=isinstance(self._files, NdjsonFiles))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is None:
            self.close()
        else:
            self.abandon()


class _BundleFiles:
    """One transaction Bundle per note."""

    def __init__(self, folder: Path, options: FhirOptions, xml: bool = False) -> None:
        self._folder = folder
        self._options = options
        self._suffix, self._text = (".xml", xml_text) if xml else (".json", json_text)

    def write(self, resources: list[dict[str, Any]]) -> None:
        target = self._folder / (bundle_name(resources).removesuffix(".json") + self._suffix)
        part = target.with_name(target.name + ".part")
        text = self._text(transaction(resources, self._options)) + "\n"
        part.write_bytes(text.encode("utf-8", errors="replace"))
        part.replace(target)

    def close(self) -> None:
        """Every bundle is in place already."""

    abandon = close


def bundle_name(resources: list[dict[str, Any]]) -> str:
    """A file name that any file system takes, whatever the note is called; two notes never share one."""
    document = next(one for one in resources if one["resourceType"] == "DocumentReference")
    said = _UNSAFE.sub("-", source_identifier(document).get("value", "")).strip("-")[:60]
    return f"{said or 'note'}.{document['id']}.json"


def _two_texts(document: dict[str, Any]) -> Diagnostic:
    name = source_identifier(document).get("value", document["id"])
    return Diagnostic(
        code="one-identity-two-texts",
        severity=Severity.ERROR,
        message=f"Note {name} came twice with different texts; the second was not written.",
        hint="Give each note an id of its own.",
    )
