"""Elements of a differential, written by their id: the path and the slice name follow from it."""

import re
from typing import Any

_SLICE = re.compile(r":[^.]+")


def element(identifier: str, **facets: Any) -> dict[str, Any]:
    """One ElementDefinition. A trailing underscore in a facet's name keeps it apart from a Python word.

    Args:
        identifier: element id, e.g. `Observation.component:scale.code`.
        facets: further elements, in the order of the specification (see `_ORDER`).
    """
    last = identifier.rpartition(".")[2]
    found: dict[str, Any] = {"id": identifier, "path": _SLICE.sub("", identifier)}
    if ":" in last:
        found["sliceName"] = last.partition(":")[2]
    named = {name.rstrip("_"): value for name, value in facets.items()}
    return found | dict(sorted(named.items(), key=lambda item: _place(item[0])))


_ORDER = (
    "slicing",
    "short",
    "definition",
    "min",
    "max",
    "type",
    "fixed",
    "pattern",
    "constraint",
    "mustSupport",
    "binding",
)


def _place(name: str) -> int:
    return next(index for index, start in enumerate(_ORDER) if name.startswith(start))


def sliced(kind: str, path: str, rules: str = "open") -> dict[str, Any]:
    """A slicing by one discriminator."""
    return {"discriminator": [{"type": kind, "path": path}], "rules": rules}


def bound(value_set: str, strength: str = "required") -> dict[str, Any]:
    """A binding."""
    return {"strength": strength, "valueSet": value_set}


def typed(code: str, *profiles: str, targets: tuple[str, ...] = ()) -> list[dict[str, Any]]:
    """A list of one type."""
    found: dict[str, Any] = {"code": code}
    if profiles:
        found["profile"] = list(profiles)
    if targets:
        found["targetProfile"] = [f"http://hl7.org/fhir/StructureDefinition/{target}" for target in targets]
    return [found]


def rule(key: str, human: str, expression: str) -> dict[str, Any]:
    """An invariant that must hold."""
    return {"key": key, "severity": "error", "human": human, "expression": expression}
