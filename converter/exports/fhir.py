"""The target `fhir`: NDJSON by type of resource as bulk data, or transaction bundles in JSON or XML.

Takes the notes and functions that render them; gives `Observation.ndjson` and its like, or
`bundles/00000001.json`. How a resource looks belongs to the package `fhir`.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Literal

from converter.exports.values import Read
from converter.exports.writer import Writer
from converter.model import Diagnostic, Note, Severity

Json = dict[str, Any]
Render = Callable[[Iterator[Read]], Iterator[tuple[Note, list[Json], Sequence[Diagnostic]]]]
"""Each note with its resources, and what is doubtful about them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FhirTarget:
    """Exports FHIR resources.

    Attributes:
        render: makes the resources; a note for which it tells of an error is left out.
        bundle: resources as a transaction Bundle.
        text: a resource as JSON or XML.
        choices: what was chosen about the resources, for the manifest.
        form: `ndjson` or `bundles`.
        syntax: `json` or `xml`; NDJSON is JSON.
        packed: whether files are compressed with gzip.
        bundle_notes: notes in one Bundle.
    """

    render: Render
    bundle: Callable[[list[Json]], Json]
    text: Callable[[Json], str]
    choices: Mapping[str, Any]
    form: Literal["ndjson", "bundles"] = "ndjson"
    syntax: Literal["json", "xml"] = "json"
    packed: bool = False
    bundle_notes: int = 20
    name: str = "fhir"

    @property
    def options(self) -> Mapping[str, Any]:
        """The choices that decide about the bytes."""
        bundles = {"bundle_notes": self.bundle_notes} if self.form == "bundles" else {}
        return {"form": self.form, "syntax": self.syntax, "gzip": self.packed, **bundles, **self.choices}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        """Write the resources of some notes."""
        made = self._made(reads, writer)
        if self.form == "ndjson":
            for resources in made:
                self._lines(resources, writer)
            return
        while notes := list(islice(made, self.bundle_notes)):
            self._bundle([resource for resources in notes for resource in resources], writer)

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        """List the files by type, as a bulk-data manifest does."""
        if self.form == "bundles":
            return {"resources": writer.counts.get("resources", 0)}
        types = sorted(name.removeprefix("type ") for name in writer.counts if name.startswith("type "))
        output = [
            {"type": one, "url": self._file(one), "count": writer.rows(self._file(one))} for one in types
        ]
        return {"output": output}

    def _made(self, reads: Iterator[Read], writer: Writer) -> Iterator[list[Json]]:
        for note, resources, doubts in self.render(reads):
            for doubt in doubts:
                writer.tell(doubt, note)
            if any(doubt.severity in (Severity.ERROR, Severity.FATAL) for doubt in doubts):
                writer.leave_out(note, "faulty-resource")
            else:
                yield resources

    def _lines(self, resources: Iterable[Json], writer: Writer) -> None:
        for resource in resources:
            kind = resource["resourceType"]
            if kind == "Device" and not _first(resource, writer):
                continue
            writer.add(f"type {kind}")
            writer.open_text(self._file(kind)).row(self.text(resource))

    def _bundle(self, resources: list[Json], writer: Writer) -> None:
        bundle = self.bundle(resources)
        writer.add("bundles")
        writer.add("resources", len(bundle["entry"]))
        name = f"bundles/{writer.counts['bundles']:08}.{self.syntax}{self._ending}"
        stream = writer.open_text(name)
        stream.write(self.text(bundle) + "\n")
        stream.count(len(bundle["entry"]))

    def _file(self, kind: str) -> str:
        return f"{kind}.ndjson{self._ending}"

    @property
    def _ending(self) -> str:
        return ".gz" if self.packed else ""


def _first(device: Json, writer: Writer) -> bool:
    """Whether a Device comes for the first time; the same program and vocabulary read many notes."""
    name = f"device {device['id']}"
    writer.add(name)
    return writer.counts[name] == 1
