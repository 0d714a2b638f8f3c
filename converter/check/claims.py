"""Which definitions a resource must conform to: its type's, those it claims, those named, those they impose.

Takes a resource and canonicals; gives Shapes, each once, and says which definitions cannot be used.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from converter.check.findings import Findings
from converter.check.shapes import Shape, Shapes
from converter.model import Severity

Json = dict[str, Any]

ROOT_TYPES = frozenset({"Resource", "DomainResource"})
_IMPOSE = "http://hl7.org/fhir/StructureDefinition/structuredefinition-imposeProfile"


def shapes_of(
    shapes: Shapes,
    value: Json,
    kind: str,
    profiles: Sequence[str],
    structural: bool,
    path: str,
    found: Findings,
) -> list[Shape]:
    """The shapes that a resource must have; that of its type alone where no profile is known.

    Args:
        shapes: the compiled definitions.
        value: the resource.
        kind: its type.
        profiles: canonicals it must conform to; one that is not known is an error.
        structural: whether what it claims in `meta.profile` counts too; one that is not known is a warning.
        path: its place.
        found: where it goes that a definition cannot be used.
    """
    chosen = [s for c in profiles if (s := _profile(shapes, c, kind, path, found, Severity.ERROR))]
    for canonical in _claimed(value) if structural else ():
        shape = _profile(shapes, canonical, kind, path, found, Severity.WARNING)
        chosen.extend((shape,) if shape else ())
    chosen.extend(_imposed(shapes, [*chosen], kind, path, found))
    base = shapes.of_type(kind)
    return list({id(shape): shape for shape in chosen}.values()) or ([base] if base else [])


def _imposed(
    shapes: Shapes, chosen: Iterable[Shape], kind: str, path: str, found: Findings
) -> Iterator[Shape]:
    """The profiles that profiles impose beside themselves."""
    for shape in chosen:
        definition = shapes.library.structure(shape.url) or {}
        for extension in definition.get("extension", ()):
            if extension.get("url") == _IMPOSE and isinstance(extension.get("valueCanonical"), str):
                further = _profile(shapes, extension["valueCanonical"], kind, path, found, Severity.WARNING)
                yield from (further,) if further else ()


def _claimed(value: Json) -> list[str]:
    meta = value.get("meta")
    claimed = meta.get("profile") if isinstance(meta, dict) else None
    return [one for one in claimed if isinstance(one, str)] if isinstance(claimed, list) else []


def _profile(
    shapes: Shapes, canonical: str, kind: str, path: str, found: Findings, unknown: Severity
) -> Shape | None:
    shape = shapes.of_profile(canonical)
    if shape is None:
        found.add(
            "profile-unknown",
            path,
            f"{path}: the profile {canonical} is not known here, so it was not checked.",
            severity=unknown,
            hint="Give the folder that holds it with --profiles.",
            rule=canonical,
        )
        return None
    wanted = shape.name
    if wanted != kind and wanted not in ROOT_TYPES:
        found.add(
            "profile-type",
            path,
            f"{path}: the profile {canonical} describes a {wanted}, but this is a {kind}.",
            expected=wanted,
            rule=canonical,
        )
        return None
    return shape
