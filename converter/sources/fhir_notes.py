"""What in a FHIR resource is a note: its text, and the fields that identify it.

Takes a resource as plain values; gives our fields with the text and its origin, or says why there is none.
References are to FHIR R4 (https://hl7.org/fhir/R4/); R5's names for the same things are known too.
"""

from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any

from converter.sources.attachments import Taken, from_base64, from_text, kind_of
from converter.sources.fhir_composition import composition_text
from converter.sources.fhir_values import Resource, Scope, concept, first, values
from converter.sources.fields import Place
from converter.sources.troubles import error, information, warning

if TYPE_CHECKING:
    from converter.model import Diagnostic

_PREFERRED = ("plain", "html", "rtf")


def text_in(resource: Resource, scope: Scope, place: Place, sections: Sequence[str]) -> Taken | None:
    """The text of a resource, or None for a kind of resource that is no note.

    Args:
        resource: the resource.
        scope: what its references can point to.
        place: where it stands, for messages.
        sections: which sections of a Composition are read.
    """
    kind = first(resource, "resourceType")
    reader = _READERS.get(kind)
    if reader is None and kind != "Composition":
        return None
    if "entered-in-error" in (first(resource, "status"), first(resource, "docStatus")):
        return _withdrawn(place)
    return reader(resource, scope, place) if reader else composition_text(resource, place, sections)


def fields_in(resource: Resource, scope: Scope) -> dict[str, str]:
    """Our fields of a note, without its text; a field without a value is left out."""
    subject = next(iter(values(resource, "subject")), None)
    patient = scope.behind(first(subject, "reference"), resource)
    identifier, system = _identity(resource)
    found = {
        "id": identifier,
        "system": system,
        "patient": scope.identifier(subject, resource) if subject else "",
        "encounter": _who(resource, scope, _ENCOUNTERS),
        "author": _who(resource, scope, _AUTHORS),
        "facility": _who(resource, scope, (("custodian",),)),
        "authored": next((time for path in _TIMES if (time := first(resource, *path))), ""),
        "kind": concept(_one(resource, "type")) or concept(_one(resource, "code")),
        "birth_date": first(patient, "birthDate"),
        "sex": first(patient, "gender"),
    }
    return {name: value for name, value in found.items() if value}


_ENCOUNTERS = (("encounter",), ("context", "encounter"), ("context",))
_AUTHORS = (("author",), ("resultsInterpreter",), ("performer",))
_TIMES = (
    ("content", "attachment", "creation"),  # when a document was written
    ("context", "period", "start"),
    ("period", "start"),
    ("date",),
    ("effectiveDateTime",),
    ("effectiveInstant",),
    ("effectivePeriod", "start"),
    ("issued",),
)


def _who(resource: Resource, scope: Scope, paths: tuple[tuple[str, ...], ...]) -> str:
    return next(
        (
            found
            for path in paths
            for node in values(resource, *path)
            if (found := scope.identifier(node, resource))
        ),
        "",
    )


def _one(resource: Resource, name: str) -> Any:
    return next(iter(values(resource, name)), None)


def _identity(resource: Resource) -> tuple[str, str]:
    """The business identifier and its system; the resource's own id where it has none."""
    for node in (*values(resource, "masterIdentifier"), *values(resource, "identifier")):
        if value := first(node, "value"):
            return value, first(node, "system")
    return first(resource, "id"), ""


def _document(resource: Resource, scope: Scope, place: Place) -> Taken | None:
    """DocumentReference: the first of its forms that can be read; they are forms of one document."""
    taken = _attached(values(resource, "content", "attachment"), resource, scope, place)
    if taken.text is not None and first(resource, "status") == "superseded":
        told = information(
            "superseded-document", "The document is marked as replaced by another.", place.source, place.line
        )
        return Taken(taken.text, taken.origin, (told, *taken.troubles))
    return taken


def _attached(attachments: list[Any], resource: Resource, scope: Scope, place: Place) -> Taken:
    """The text of the attachment that is easiest to read truly: plain text before HTML before RTF."""
    forms = [form for one in attachments if (form := _packed(one, resource, scope)) is not None]
    ranked = sorted(forms, key=lambda form: _rank(form[1]))
    failed: list[Diagnostic] = []
    for data, content_type in ranked:
        taken = from_base64(data, content_type, place)
        if taken.text is not None:
            return taken
        failed += taken.troubles
    if not forms:
        failed.append(
            error(
                "attachment-elsewhere",
                "The document's text is not in the resource, so it was left out; nothing is fetched.",
                place.source,
                place.line,
                hint="Export documents with their content (attachment.data).",
            )
        )
    return Taken(None, troubles=tuple(failed[:1]))


def _packed(attachment: Any, resource: Resource, scope: Scope) -> tuple[str, str] | None:
    """An attachment's data in base64 and its content type; a Binary of the same Bundle counts as its own."""
    content_type = first(attachment, "contentType")
    if data := first(attachment, "data"):
        return data, content_type
    binary = scope.behind(first(attachment, "url"), resource)
    if binary is not None and (data := first(binary, "data")):
        return data, content_type or first(binary, "contentType")
    return None


def _rank(content_type: str) -> int:
    kind = kind_of(content_type)
    return _PREFERRED.index(kind) if kind else len(_PREFERRED)


def _observation(resource: Resource, _scope: Scope, _place: Place) -> Taken | None:
    """Observation: what it says in words, after its name, and its notes; None where there are no words."""
    lines = list(_said(resource))
    for component in values(resource, "component"):
        lines += _said(component)
    lines += [text for note in values(resource, "note") if (text := first(note, "text"))]
    return Taken("\n".join(lines)) if lines else None


def _said(node: Any) -> Iterator[str]:
    """A value in words, after the name of what it is of, unless it starts with that."""
    value = first(node, "valueString")
    name = concept(_one(node, "code"))
    if value:
        starts = not name or value.casefold().startswith(name.casefold())
        yield value if starts else f"{name}: {value}"


def _report(resource: Resource, scope: Scope, place: Place) -> Taken | None:
    """DiagnosticReport: its presented form, else its conclusion; None where it has neither."""
    attachments = values(resource, "presentedForm")
    conclusion = first(resource, "conclusion")
    if attachments:
        taken = _attached(attachments, resource, scope, place)
        if taken.text is not None or not conclusion:
            return taken
    return from_text(conclusion, "plain", place) if conclusion else None


def _withdrawn(place: Place) -> Taken:
    trouble = warning(
        "entered-in-error",
        "The resource is marked as entered in error, so it was left out.",
        place.source,
        place.line,
    )
    return Taken(None, troubles=(trouble,))


_READERS: dict[str, Callable[[Resource, Scope, Place], Taken | None]] = {
    "DiagnosticReport": _report,
    "DocumentReference": _document,
    "Observation": _observation,
}
