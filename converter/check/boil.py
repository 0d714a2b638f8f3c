"""Boils the published FHIR definitions down to the facts that a check needs.

Takes the JSON files of the official definitions (bundles, or one definition a file); gives one archive per
release with a file per definition: paths, cardinalities, types, bindings, constraints and codes, no prose but
the one sentence of each constraint. A resource or type keeps its full element list; a profile or extension
keeps its differential, from which `snapshot` makes the full list.

Run as `python -m converter.check.boil R4 ARCHIVE FOLDER...`; of two definitions with one address the first is
kept, and the same input gives the same bytes. `profiles/base/README.md` says which folders it was run on.
"""

import json
import sys
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

Json = dict[str, Any]

KINDS = ("StructureDefinition", "ValueSet", "CodeSystem")

_ELEMENT_FACTS = frozenset(
    {
        *("path", "sliceName", "slicing", "min", "max", "contentReference", "maxLength", "mustSupport"),
        *("representation", "mustHaveValue", "valueAlternatives", "isModifier"),
    }
)
_ELEMENT_PREFIXES = ("fixed", "pattern", "minValue", "maxValue")
_STRUCTURE_FACTS = (
    *("resourceType", "url", "version", "name", "kind", "abstract", "type", "baseDefinition", "derivation"),
    *("context", "contextInvariant"),
)
_MAX_VALUE_SET = "http://hl7.org/fhir/StructureDefinition/elementdefinition-maxValueSet"
_FHIR_TYPE = "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type"
_PARENT_PROPERTIES = frozenset({"subsumedBy", "parent"})
_EPOCH = (1980, 1, 1, 0, 0, 0)


def boiled(definition: Mapping[str, Any]) -> Json:
    """The facts of one StructureDefinition, ValueSet or CodeSystem, in the same shape without prose."""
    kind = definition["resourceType"]
    if kind == "StructureDefinition":
        return _structure(definition)
    return _value_set(definition) if kind == "ValueSet" else _code_system(definition)


def _structure(definition: Mapping[str, Any]) -> Json:
    facts = {name: definition[name] for name in _STRUCTURE_FACTS if name in definition}
    view = "differential" if definition.get("derivation") == "constraint" else "snapshot"
    elements = (definition.get(view) or definition["snapshot"])["element"]
    facts[view] = {"element": [_element(element, view == "snapshot") for element in elements]}
    return facts


def _element(element: Mapping[str, Any], full: bool) -> Json:
    facts = {
        name: value
        for name, value in element.items()
        if name in _ELEMENT_FACTS or name.startswith(_ELEMENT_PREFIXES)
    }
    if not full and ":" in element.get("id", ""):
        facts["id"] = element["id"]
    for name in ("mustSupport", "isModifier"):
        if not facts.get(name):
            facts.pop(name, None)
    if "slicing" in facts:
        facts["slicing"] = {k: v for k, v in facts["slicing"].items() if k != "description"}
    if element.get("type"):
        facts["type"] = [_type(entry) for entry in element["type"]]
    if "binding" in element:
        facts["binding"] = _binding(element["binding"])
    constraints = [_constraint(c) for c in element.get("constraint", ()) if c["key"] != "ele-1"]
    if constraints:
        facts["constraint"] = constraints
    return facts


def _type(entry: Mapping[str, Any]) -> Json:
    facts = {k: v for k, v in entry.items() if k in ("code", "profile", "targetProfile", "aggregation")}
    for extension in entry.get("extension", ()):
        if extension["url"] == _FHIR_TYPE:
            facts["code"] = extension.get("valueUrl") or extension.get("valueUri")
    return facts


def _binding(binding: Mapping[str, Any]) -> Json:
    facts = {k: binding[k] for k in ("strength", "valueSet", "additional") if k in binding}
    extensions = [e for e in binding.get("extension", ()) if e["url"] == _MAX_VALUE_SET]
    if extensions:
        facts["extension"] = extensions
    return facts


def _constraint(constraint: Mapping[str, Any]) -> Json:
    return {k: constraint[k] for k in ("key", "severity", "human", "expression") if k in constraint}


def _value_set(definition: Mapping[str, Any]) -> Json:
    facts = {k: definition[k] for k in ("resourceType", "url", "version") if k in definition}
    compose = definition.get("compose")
    if compose:
        facts["compose"] = {
            part: [_include(entry) for entry in compose[part]]
            for part in ("include", "exclude")
            if part in compose
        }
    if "expansion" in definition and not compose:
        facts["expansion"] = definition["expansion"]
    return facts


def _include(entry: Mapping[str, Any]) -> Json:
    facts = {k: entry[k] for k in ("system", "version", "filter", "valueSet") if k in entry}
    if "concept" in entry:
        facts["concept"] = [{"code": concept["code"]} for concept in entry["concept"]]
    return facts


def _code_system(definition: Mapping[str, Any]) -> Json:
    names = ("resourceType", "url", "version", "content", "caseSensitive", "supplements")
    facts = {k: definition[k] for k in names if k in definition}
    facts["concept"] = [_concept(concept) for concept in definition.get("concept", ())]
    return facts


def _concept(concept: Mapping[str, Any]) -> Json:
    facts: Json = {"code": concept["code"]}
    properties = [
        {k: v for k, v in entry.items() if k != "extension"}
        for entry in concept.get("property", ())
        if entry["code"] in _PARENT_PROPERTIES
    ]
    if properties:
        facts["property"] = properties
    if concept.get("concept"):
        facts["concept"] = [_concept(child) for child in concept["concept"]]
    return facts


def definitions_in(folder: Path) -> Iterator[Json]:
    """Every StructureDefinition, ValueSet and CodeSystem in the JSON files of a folder, in order of name.

    `dataelements.json` repeats each element of each resource as a definition of its own and is left out.
    """
    for file in sorted(folder.glob("*.json")):
        if file.name == "dataelements.json":
            continue
        content = json.loads(file.read_text(encoding="utf-8"))
        whole = isinstance(content, dict) and content.get("resourceType") == "Bundle"
        entries = content["entry"] if whole else [{"resource": content}]
        for entry in entries:
            resource = entry.get("resource")
            if isinstance(resource, dict) and resource.get("resourceType") in KINDS and "url" in resource:
                yield resource


def write_archive(definitions: Iterable[Mapping[str, Any]], archive: Path, about: Mapping[str, str]) -> int:
    """Write the boiled definitions, an index of their addresses and a note of where they come from.

    Returns:
        How many definitions the archive holds; of two with one address the first is kept.
    """
    files: dict[str, Json] = {}
    index: dict[str, dict[str, str]] = {kind: {} for kind in KINDS}
    types: dict[str, str] = {}
    for definition in definitions:
        kind, url = definition["resourceType"], definition["url"]
        if url not in index[kind]:
            name = f"{kind}/{len(index[kind])}.json"
            index[kind][url] = name
            files[name] = boiled(definition)
            if kind == "StructureDefinition" and definition.get("derivation") != "constraint":
                types[definition["type"]] = "abstract" if definition.get("abstract") else definition["kind"]
    with zipfile.ZipFile(archive, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as out:
        for name, content in {"index.json": {"about": dict(about), "types": types, **index}, **files}.items():
            text = json.dumps(content, ensure_ascii=False, separators=(",", ":"))
            out.writestr(zipfile.ZipInfo(name, _EPOCH), text, zipfile.ZIP_DEFLATED, 9)
    return len(files)


def main(arguments: list[str]) -> int:
    """Boil the definitions of one release; what is not HL7's own is left out by its address."""
    release, archive, *folders = arguments
    official = (
        definition
        for folder in folders
        for definition in definitions_in(Path(folder))
        if definition["url"].startswith(("http://hl7.org/", "http://terminology.hl7.org/", "http://dicom"))
    )
    about = {"release": release, "licence": "CC0-1.0", "source": "HL7 FHIR definitions"}
    count = write_archive(official, Path(archive), about)
    sys.stdout.write(f"{count} definitions\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
