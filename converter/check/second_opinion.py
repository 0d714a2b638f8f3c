"""A second opinion on base conformance, on demand: the R4B models of `fhir.resources`.

They agree with R4 for every type that plexor writes. They are never the source of truth: they accept wrong
codes, references and hashes.
"""

from typing import Any

from converter.model import Diagnostic, Severity

Json = dict[str, Any]


def second_opinion(resource: Json) -> list[Diagnostic]:
    """What the models refuse about a resource, as warnings with the rule `fhir.resources`."""
    from fhir.resources.R4B import get_fhir_model_class

    kind = resource.get("resourceType")
    try:
        model: Any = get_fhir_model_class(str(kind))
    except (LookupError, ValueError, AttributeError):
        return [_opinion(str(kind), f"{kind!r} is not a type of resource")]
    try:
        model.model_validate(resource)
    except ValueError as error:
        details = getattr(error, "errors", None)
        faults = details() if callable(details) else [{"loc": (), "msg": str(error)}]
        return [_opinion(_path(str(kind), fault["loc"]), str(fault["msg"])) for fault in faults]
    return []


def _path(kind: str, steps: Any) -> str:
    return kind + "".join(f"[{step}]" if isinstance(step, int) else f".{step}" for step in steps)


def _opinion(path: str, message: str) -> Diagnostic:
    return Diagnostic(
        code="second-opinion",
        severity=Severity.WARNING,
        message=f"{path}: {' '.join(message.split())}.",
        path=path,
        rule="fhir.resources",
    )
