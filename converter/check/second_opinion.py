"""A second opinion on base conformance, on demand: the models of `fhir.resources`.

Its R5 models for R5; for R4 its R4B models, which agree with R4 for every type that plexor writes. They are
never the source of truth: they accept wrong codes, references and hashes.
"""

from typing import Any

from converter.model import Diagnostic, Severity

Json = dict[str, Any]


def second_opinion(resource: Json, release: str = "R4") -> list[Diagnostic]:
    """What the models refuse about a resource, as warnings with the rule `fhir.resources`."""
    kind = str(resource.get("resourceType"))
    try:
        model = _model(kind, release)
    except (LookupError, ValueError, AttributeError):
        return [_opinion(kind, f"{kind!r} is not a type of resource")]
    try:
        model.model_validate(resource)
    except ValueError as error:
        details = getattr(error, "errors", None)
        faults = details() if callable(details) else [{"loc": (), "msg": str(error)}]
        return [_opinion(_path(kind, fault["loc"]), str(fault["msg"])) for fault in faults]
    return []


def _model(kind: str, release: str) -> Any:
    if release == "R4":
        from fhir.resources.R4B import get_fhir_model_class as model_of
    else:
        from fhir.resources import get_fhir_model_class as model_of
    return model_of(kind)


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
