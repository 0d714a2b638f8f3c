"""Lets through of a definition only what has the form that the checker reads; the rest is left out and said.

Takes a StructureDefinition, ValueSet or CodeSystem as parsed JSON; gives it without the parts that are no
text where a text must stand, no list where a list must, and so on. Source: FHIR R4,
https://hl7.org/fhir/R4/structuredefinition.html, .../elementdefinition.html, .../valueset.html and
.../codesystem.html.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from converter.model import Diagnostic, Severity

Json = dict[str, Any]
Fault = tuple[str, str]
"""Path, and what must stand there."""

_LEFT_OUT: Any = object()
_MOST = re.compile(r"\d{1,9}|\*", re.ASCII)
_WORDS = {
    "text": "a text",
    "whole": "a whole number from 0",
    "most": "a whole number as text, or *",
    "flag": "true or false",
}

Shape = str | list[Any] | Mapping[str, Any]
"""A key of `_WORDS`, the name of another shape, a list of one shape, or the shapes of elements."""

_NEEDED = {
    "element": "path",
    "type entry": "code",
    "concept": "code",
    "included concept": "code",
    "property": "code",
}
"""What an object of a shape cannot do without."""

_SHAPES: dict[str, Mapping[str, Shape]] = {
    "StructureDefinition": {
        **dict.fromkeys(("url", "version", "name", "title", "kind", "type", "baseDefinition"), "text"),
        "derivation": "text",
        "abstract": "flag",
        "fhirVersion": "text",
        "extension": ["extension"],
        "context": [{"type": "text", "expression": "text"}],
        "contextInvariant": ["text"],
        "snapshot": {"element": ["element"]},
        "differential": {"element": ["element"]},
    },
    "extension": {
        **dict.fromkeys(("url", "valueCode", "valueString", "valueUri", "valueCanonical"), "text"),
        "valueBoolean": "flag",
        "extension": ["extension"],
    },
    "element": {
        "extension": ["extension"],
        **dict.fromkeys(("id", "path", "sliceName", "contentReference", "short"), "text"),
        **dict.fromkeys(("mustSupport", "isModifier", "isSummary"), "flag"),
        "min": "whole",
        "max": "most",
        "representation": ["text"],
        "base": {"path": "text", "min": "whole", "max": "most"},
        "slicing": {
            "rules": "text",
            "ordered": "flag",
            "discriminator": [{"type": "text", "path": "text"}],
        },
        "type": ["type entry"],
        "binding": {"strength": "text", "valueSet": "text", "extension": ["extension"]},
        "constraint": [dict.fromkeys(("key", "severity", "human", "expression", "source"), "text")],
        "condition": ["text"],
        "maxLength": "whole",
    },
    "type entry": {
        "code": "text",
        "extension": ["extension"],
        "profile": ["text"],
        "targetProfile": ["text"],
        "aggregation": ["text"],
        "versioning": "text",
    },
    "ValueSet": {
        **dict.fromkeys(("url", "version", "name", "title"), "text"),
        "compose": {"inactive": "flag", "include": ["include"], "exclude": ["include"]},
        "expansion": {"contains": ["contains"]},
    },
    "include": {
        **dict.fromkeys(("system", "version"), "text"),
        "valueSet": ["text"],
        "concept": ["included concept"],
        "filter": [dict.fromkeys(("property", "op", "value"), "text")],
    },
    "included concept": {"code": "text", "display": "text"},
    "contains": {
        **dict.fromkeys(("system", "version", "code", "display"), "text"),
        "abstract": "flag",
        "inactive": "flag",
        "contains": ["contains"],
    },
    "CodeSystem": {
        **dict.fromkeys(("url", "version", "name", "title", "content"), "text"),
        "caseSensitive": "flag",
        "concept": ["concept"],
    },
    "concept": {
        "code": "text",
        "display": "text",
        "designation": [{"value": "text"}],
        "concept": ["concept"],
        "property": ["property"],
    },
    "property": {"code": "text"},
}


def well_formed(definition: Json, kind: str) -> tuple[Json, list[Diagnostic]]:
    """A definition without what has the wrong form, and an error for each part that was left out.

    Args:
        definition: the definition.
        kind: its resource type.
    """
    faults: list[Fault] = []
    kept = _kept(definition, kind, kind, faults)
    return kept, [*map(_diagnostic, faults, [str(definition.get("url"))] * len(faults))]


def _kept(value: Any, shape: Shape, path: str, faults: list[Fault]) -> Any:
    """The value as far as it has the shape; `_LEFT_OUT` where it has another form altogether."""
    if isinstance(shape, str) and shape in _WORDS:
        return value if _fits(value, shape) else _left_out(path, _WORDS[shape], faults)
    if isinstance(shape, list):
        if not isinstance(value, list):
            return _left_out(path, "a list", faults)
        parts = [_kept(one, shape[0], f"{path}[{number}]", faults) for number, one in enumerate(value)]
        return [one for one in parts if one is not _LEFT_OUT]
    if not isinstance(value, dict):
        return _left_out(path, "an object", faults)
    shapes = _SHAPES[shape] if isinstance(shape, str) else shape
    kept = dict(_kept_elements(value, shapes, path, faults))
    needed = _NEEDED.get(shape) if isinstance(shape, str) else None
    return kept if needed is None or needed in kept else _left_out(path, f"an object with a {needed}", faults)


def _kept_elements(
    value: Json, shapes: Mapping[str, Shape], path: str, faults: list[Fault]
) -> Iterator[tuple[str, Any]]:
    for name, one in value.items():
        kept = _kept(one, shapes[name], f"{path}.{name}", faults) if name in shapes else one
        if kept is not _LEFT_OUT:
            yield name, kept


def _fits(value: Any, word: str) -> bool:
    if word == "text":
        return isinstance(value, str)
    if word == "flag":
        return isinstance(value, bool)
    if word == "most":
        return isinstance(value, str) and _MOST.fullmatch(value) is not None
    return type(value) is int and value >= 0


def _left_out(path: str, wanted: str, faults: list[Fault]) -> Any:
    faults.append((path, wanted))
    return _LEFT_OUT


def _diagnostic(fault: Fault, url: str) -> Diagnostic:
    path, wanted = fault
    return Diagnostic(
        code="definition-malformed",
        severity=Severity.ERROR,
        message=f"{path} must be {wanted}, so it was left out.",
        source=url,
        path=path,
    )
