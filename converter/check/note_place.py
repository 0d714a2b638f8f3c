"""Says where in the note a faulty resource came from, so that a person can look there.

Takes the diagnostics of a resource whose findings carry the extension `source-words`; gives them with the
first and last character of the finding's words.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from converter.check.references import entries_of
from converter.model import Diagnostic

Json = dict[str, Any]
Place = tuple[int, int]

_SOURCE_WORDS = "/StructureDefinition/source-words"


def with_note_places(diagnostics: Iterable[Diagnostic], resource: Json, path: str) -> list[Diagnostic]:
    """The diagnostics, each with the place in the note of the resource it speaks of, where that is known."""
    places = dict(_places(resource, path))
    return [_placed(one, places) for one in diagnostics] if places else list(diagnostics)


def _placed(diagnostic: Diagnostic, places: dict[str, Place]) -> Diagnostic:
    for path, (start, end) in places.items():
        if diagnostic.path == path or (diagnostic.path or "").startswith(f"{path}."):
            return replace(diagnostic, start=start, end=end)
    return diagnostic


def _places(resource: Json, path: str) -> Iterator[tuple[str, Place]]:
    if resource.get("resourceType") == "Bundle":
        for number, entry in enumerate(entries_of(resource)):
            inner = entry.get("resource")
            if isinstance(inner, dict):
                yield from _places(inner, f"{path}.entry[{number}].resource")
        return
    for extension in _extensions(resource):
        url = extension.get("url")
        if isinstance(url, str) and url.endswith(_SOURCE_WORDS):
            ends = {part.get("url"): part.get("valueInteger") for part in _extensions(extension)}
            start, end = ends.get("start"), ends.get("end")
            if isinstance(start, int) and isinstance(end, int):
                yield path, (start, end)


def _extensions(value: Json) -> Iterator[Json]:
    extensions = value.get("extension")
    for extension in extensions if isinstance(extensions, list) else ():
        if isinstance(extension, dict) and isinstance(extension.get("url"), str):
            yield extension
