"""Rules of definitional resources that no base definition states in a form that can be evaluated.

Source: FHIR R4, https://hl7.org/fhir/R4/codesystem-definitions.html#CodeSystem.count.
"""

from collections.abc import Iterator
from typing import Any

from converter.check.findings import Findings

Json = dict[str, Any]


def check_code_system(system: Json, path: str, found: Findings) -> None:
    """Check that a complete code system has as many concepts as it says."""
    count = system.get("count")
    if system.get("content") != "complete" or type(count) is not int:
        return
    actual = sum(1 for _ in _concepts(system.get("concept")))
    if actual != count:
        found.add(
            "concept-count",
            f"{path}.count",
            f"{path}.count says {count} concepts, but the code system is complete and has {actual}.",
            expected=str(actual),
            rule="CodeSystem.count",
        )


def _concepts(concepts: Any) -> Iterator[Json]:
    for one in concepts if isinstance(concepts, list) else ():
        if isinstance(one, dict):
            yield one
            yield from _concepts(one.get("concept"))
