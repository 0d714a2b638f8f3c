"""Finds definitions by their canonical address: the site's own first, then the base of one FHIR release.

Takes folders of definitions (JSON or XML, one or a bundle a file) and the shipped archive of base
definitions, read one definition at a time; gives StructureDefinitions, ValueSets and CodeSystems as dicts.
"""

import json
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from functools import cache, cached_property
from pathlib import Path
from typing import Any

from converter.check.well_formed import well_formed
from converter.model import Diagnostic, Severity
from converter.shipped_files import profiles_folder

Json = dict[str, Any]

OUR_CANONICAL = "https://plexor.example/fhir"
"""The address under which our own definitions are published; a site can put its own in its place."""

BASE = "http://hl7.org/fhir/StructureDefinition/"
RELEASES = ("R4", "R5")
_KINDS = ("StructureDefinition", "ValueSet", "CodeSystem")
_NO_DEFINITIONS = frozenset({"base", "examples", "local-examples"})


class Archive:
    """The base definitions of one FHIR release, read one at a time."""

    def __init__(self, path: Path):
        self._zip = zipfile.ZipFile(path)
        self.index: Mapping[str, Mapping[str, str]] = json.loads(self._zip.read("index.json"))

    def read(self, kind: str, url: str) -> Json | None:
        """One definition, or None where the release has none at that address."""
        name = self.index[kind].get(url)
        return json.loads(self._zip.read(name)) if name else None


@cache
def base_archive(release: str) -> Archive:
    """The shipped base definitions of a release, opened once.

    Raises:
        ValueError: no base definitions ship for that release.
    """
    path = profiles_folder() / "base" / f"{release.lower()}.zip"
    if release not in RELEASES or not path.is_file():
        raise ValueError(f"there are no base definitions for FHIR {release}; known are {', '.join(RELEASES)}")
    return Archive(path)


class Definitions:
    """The definitions of a site: ours, those of its folders, and behind them the base of each release.

    Attributes:
        local: definition by kind and address, without version.
        problems: what could not be read, or was left out of what could.
    """

    def __init__(self, resources: Iterable[Json], problems: Iterable[Diagnostic] = ()):
        self.local: dict[str, dict[str, Json]] = {kind: {} for kind in _KINDS}
        found = list(problems)
        for resource in resources:
            found += self._add(resource)
        self.problems = tuple(found)
        self._libraries: dict[str, Library] = {}

    def __reduce__(self) -> Any:
        """Travels without the base, which ships with the program."""
        return Definitions, (tuple(self.resources()), self.problems)

    def resources(self) -> Iterator[Json]:
        """Every definition of the site and of ours."""
        for kind in _KINDS:
            yield from self.local[kind].values()

    def library(self, release: str) -> "Library":
        """These definitions before the base of one release; the same object at every call."""
        if release not in self._libraries:
            self._libraries[release] = Library(self.local, base_archive(release), release)
        return self._libraries[release]

    def _add(self, resource: Json) -> list[Diagnostic]:
        problems: list[Diagnostic] = []
        kind, url, entries = (resource.get(name) for name in ("resourceType", "url", "entry"))
        for entry in entries if kind == "Bundle" and isinstance(entries, list) else ():
            if isinstance(entry, dict) and isinstance(entry.get("resource"), dict):
                problems += self._add(entry["resource"])
        if kind in _KINDS and isinstance(url, str):
            self.local[str(kind)][url], problems = well_formed(resource, str(kind))
        return problems


class Library:
    """Looks definitions up by canonical address, `url` or `url|version`."""

    def __init__(self, local: Mapping[str, Mapping[str, Json]], base: Archive, release: str):
        self.local = local
        self.release = release
        self._base = base
        self._cache: dict[tuple[str, str], Json | None] = {}
        self.trees: dict[str, Any] = {}

    def structure(self, canonical: str) -> Json | None:
        """The StructureDefinition at an address, or None."""
        return self._find("StructureDefinition", canonical)

    def value_set(self, canonical: str) -> Json | None:
        """The ValueSet at an address, or None."""
        return self._find("ValueSet", canonical)

    def code_system(self, canonical: str) -> Json | None:
        """The CodeSystem at an address, or None."""
        return self._find("CodeSystem", canonical)

    def type_definition(self, name: str) -> Json | None:
        """The definition of a resource or data type by its name; logical types by address."""
        return self.structure(name if "/" in name else BASE + name)

    @cached_property
    def resource_types(self) -> frozenset[str]:
        """The names of all concrete resource types of the release."""
        return frozenset(name for name, kind in self._base.index["types"].items() if kind == "resource")

    @cached_property
    def primitive_types(self) -> frozenset[str]:
        """The names of all primitive types of the release."""
        return frozenset(name for name, kind in self._base.index["types"].items() if kind == "primitive-type")

    @cached_property
    def data_types(self) -> frozenset[str]:
        """The names of all concrete data types of the release, primitive ones included."""
        kinds = ("primitive-type", "complex-type")
        return frozenset(name for name, kind in self._base.index["types"].items() if kind in kinds)

    def canonicals(self, kind: str = "StructureDefinition") -> Iterator[str]:
        """The addresses of the site's own definitions of a kind, sorted."""
        yield from sorted(self.local[kind])

    def base_canonicals(self, kind: str = "StructureDefinition") -> Iterator[str]:
        """The addresses of the base definitions of a kind, in their published order."""
        yield from self._base.index[kind]

    def _find(self, kind: str, canonical: str) -> Json | None:
        key = (kind, canonical)
        if key not in self._cache:
            self._cache[key] = self._look_up(kind, canonical)
        return self._cache[key]

    def _look_up(self, kind: str, canonical: str) -> Json | None:
        url, _, version = canonical.partition("|")
        owner, inside, identifier = url.partition("#")
        if inside:
            return self._contained(kind, owner, identifier)
        found = self.local[kind].get(url) or self._base.read(kind, url)
        if found is not None and version and not _same_version(found.get("version"), version):
            return None if url in self.local[kind] else found
        return found

    def _contained(self, kind: str, owner: str, identifier: str) -> Json | None:
        """A definition that a StructureDefinition contains."""
        contained = (self.structure(owner) or {}).get("contained")
        for one in contained if isinstance(contained, list) else ():
            if isinstance(one, dict) and (one.get("resourceType"), one.get("id")) == (kind, identifier):
                return well_formed(one, kind)[0]
        return None


def _same_version(version: object, wanted: str) -> bool:
    return not version or version == wanted or str(version).startswith(f"{wanted}.")


def load_definitions(folders: Iterable[Path] = (), canonical: str | None = None) -> Definitions:
    """Load our own definitions and those in the given folders; the base of each release stands behind them.

    Args:
        folders: folders or files of JSON or XML definitions, searched in depth; a later one replaces an
            earlier one with the same address.
        canonical: the address to put in the place of `OUR_CANONICAL` in everything loaded.
    """
    resources: list[Json] = []
    problems: list[Diagnostic] = []
    for folder in (profiles_folder(), *(Path(folder) for folder in folders)):
        if not folder.exists():
            problems.append(_problem(folder, "the folder of definitions does not exist"))
        for file in _files(folder):
            try:
                content = _read(file, canonical)
                if isinstance(content, dict):
                    resources.append(content)
                else:
                    problems.append(_problem(file, "holds no definition", Severity.WARNING))
            except (OSError, ValueError) as error:
                problems.append(_problem(file, f"cannot be read as a definition: {error}"))
            except RecursionError:
                problems.append(_problem(file, "is nested too deeply to be a definition"))
    return Definitions(resources, problems)


def _files(folder: Path) -> Iterator[Path]:
    if folder.is_file():
        yield folder
        return
    for file in sorted(folder.rglob("*")):
        inside = file.relative_to(folder).parts[:-1]
        if file.suffix in (".json", ".xml") and not (
            folder == profiles_folder() and _NO_DEFINITIONS & {*inside}
        ):
            yield file


def _read(file: Path, canonical: str | None) -> Any:
    text = file.read_text(encoding="utf-8-sig")
    if canonical:
        text = text.replace(OUR_CANONICAL, canonical.rstrip("/"))
    if file.suffix == ".xml":
        from converter.check.xml_input import resource_from_xml

        return resource_from_xml(text.encode(), Definitions(()).library("R4"))[0]
    return json.loads(text)


def _problem(file: Path, message: str, severity: Severity = Severity.ERROR) -> Diagnostic:
    return Diagnostic(
        code="definition-unreadable",
        severity=severity,
        message=f"{file.name}: {message}",
        source=str(file),
    )
