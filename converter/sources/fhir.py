"""FHIR: the notes in resources, whether alone, in a Bundle, or one a line; in JSON, XML or NDJSON.

A note is a DocumentReference with its document inside, a Composition, an Observation with a value in words or
notes, or a DiagnosticReport with a form or a conclusion. Other resources only identify; they are counted.
"""

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from converter.model import Diagnostic
from converter.sources.decode import Lines
from converter.sources.fhir_notes import fields_in, text_in
from converter.sources.fhir_values import Resource, Scope, first, scope_of, values
from converter.sources.fhir_xml import NAMESPACE, resource_of
from converter.sources.fields import Place, note_from_fields
from converter.sources.format import NoteStream, Opened
from converter.sources.json_value import parse_json
from converter.sources.options import SourceOptions
from converter.sources.troubles import error, information
from converter.sources.xml_text import NotParsed, declared_encoding, parse_xml, regions, root_name

_TYPE = re.compile(r'(?<!\\)"resourceType"\s*:\s*"[A-Z]')
_KIND = re.compile(r"[A-Za-z]{1,40}")
_ROOT = re.compile(rf"""<[A-Z]\w*\b[^<>]*\bxmlns\s*=\s*["']{re.escape(NAMESPACE)}["']""")
_DEEPEST_BUNDLE = 5


def read_fhir(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a file of FHIR resources."""
    others: Counter[str] = Counter()
    limit = 2 * options.largest_note + 65536
    lines = opened.lines(options, declared_encoding(opened.head))
    if _is_xml(opened, options):
        found = _xml_resource(lines, opened, limit)
    elif _is_lines(opened, options):
        found = _resources_by_line(lines, opened, limit)
    else:
        found = _json_resources(lines, opened, limit)
    for item in found:
        if isinstance(item, Diagnostic):
            yield item
        else:
            yield from _notes(*item, opened, options, others)
    yield from lines.last_troubles()
    if others:
        counted = ", ".join(
            f"{count} {name if _KIND.fullmatch(name) else 'of an odd type'}"
            for name, count in sorted(others.items())
        )
        yield information(
            "no-text-in-resource",
            f"Some resources hold no text, so they are no notes ({counted}).",
            opened.name,
        )


_Found = Iterator[tuple[Any, int | None] | Diagnostic]


def _resources_by_line(lines: Lines, opened: Opened, limit: int) -> _Found:
    while line := lines.next_line(limit):
        yield from lines.troubles()
        if len(line) >= limit and not line.endswith("\n"):
            lines.rest_of_line()
            yield _too_large(opened.name, lines.number, limit)
        elif line.strip():
            value = parse_json(line)
            if isinstance(value, str):
                yield error("not-json", f"The line is not JSON ({value}).", opened.name, lines.number)
            else:
                yield value, lines.number


def _json_resources(lines: Lines, opened: Opened, limit: int) -> _Found:
    text = lines.everything(limit)
    if text is None:
        yield _too_large(opened.name, None, limit)
        return
    value = parse_json(text)
    if isinstance(value, str):
        yield error("not-json", f"The file is not JSON ({value}).", opened.name)
        return
    for resource in value if isinstance(value, list) else [value]:
        yield resource, None


def _xml_resource(lines: Lines, opened: Opened, limit: int) -> _Found:
    source = lines.everything(limit)
    if source is None:
        yield _too_large(opened.name, None, limit)
        return
    root = parse_xml(source)
    if isinstance(root, NotParsed):
        yield error(root.code, f"The document {root.reason}, so it was left out.", opened.name, root.line)
        return
    yield resource_of(root, source, regions(root, source)), None


def _notes(
    resource: Any,
    line: int | None,
    opened: Opened,
    options: SourceOptions,
    others: Counter[str],
    scope: Scope | None = None,
    path: str = "",
) -> NoteStream:
    """The notes of a resource; a Bundle's come one by one, each with its path."""
    kind = first(resource, "resourceType")
    if not isinstance(resource, Mapping) or not kind:
        yield replace(
            error("not-a-resource", "What stands here is no FHIR resource.", opened.name, line),
            path=path or None,
        )
    elif kind != "Bundle":
        yield from _note(resource, line, opened, options, others, scope or Scope(), path)
    elif path.count(".entry[") >= _DEEPEST_BUNDLE:
        yield replace(
            error("nested-too-deeply", "Bundles are nested too deeply, so this one was left out.",
                  opened.name, line), path=path)  # fmt: skip
    else:
        inner = scope_of(resource)
        for number, entry in enumerate(values(resource, "entry")):
            for inside in values(entry, "resource"):
                here = f"{path or 'Bundle'}.entry[{number}].resource"
                yield from _notes(inside, line, opened, options, others, inner, here)


def _note(
    resource: Resource,
    line: int | None,
    opened: Opened,
    options: SourceOptions,
    others: Counter[str],
    scope: Scope,
    path: str,
) -> NoteStream:
    kind = first(resource, "resourceType")
    number = path.rpartition("entry[")[2].partition("]")[0] if path else ""
    spare = ":".join(part for part in (opened.stem, str(line or ""), number) if part)
    place = Place(opened.name, line, spare)
    taken = text_in(resource, scope, place, options.sections)
    if taken is None:
        others[kind] += 1
        return
    troubles = list(taken.troubles)
    note = None
    if taken.text is not None and len(taken.text) > options.largest_note:
        troubles = [_too_large(opened.name, line, options.largest_note)]
    elif taken.text is not None:
        note, more = note_from_fields({**fields_in(resource, scope), "text": taken.text}, place, options)
        troubles += more
    yield from (replace(trouble, path=path or kind) for trouble in troubles)
    if note is not None:
        yield replace(note, origin=taken.origin)


def _too_large(source: str, line: int | None, limit: int) -> Diagnostic:
    what = "line" if line else "file"
    return error(
        "too-large",
        f"The {what} holds more than {limit} characters, so it was left out.",
        source,
        line,
        hint="Large exports are read one resource a line, as NDJSON.",
    )


def _is_xml(opened: Opened, options: SourceOptions) -> bool:
    return "\n".join(opened.first_lines(options)[:1]).lstrip("\ufeff").lstrip().startswith("<")


def _is_lines(opened: Opened, options: SourceOptions) -> bool:
    """Whether the first line is a resource on its own, or the start of one too long to be seen whole."""
    lines = opened.first_lines(options)
    if not lines or not lines[0].lstrip().startswith("{"):
        return False
    return isinstance(parse_json(lines[0]), Mapping) or (len(lines) == 1 and len(lines[0]) > 1024)


def recognise_fhir(opened: Opened, options: SourceOptions) -> bool:
    """Whether the file is a resource, a list of them, or resources by line."""
    lines = opened.first_lines(options)
    text = "\n".join(lines[:400])
    start = text.lstrip("\ufeff \t\n")[:1]
    if start == "<":
        return _ROOT.search(text) is not None and root_name(text) is not None
    if start not in ("{", "["):
        return False
    value = parse_json(lines[0])
    if isinstance(value, Mapping):
        return bool(first(value, "resourceType"))
    return _TYPE.search(text) is not None
