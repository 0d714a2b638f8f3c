"""What every resource of one note shares: patient, encounter, examiner, time and the note itself."""

import re
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from converter.fhir.identity import derived_system, literal, logical, own_identifier, uuid_of
from converter.fhir.options import FhirOptions
from converter.fhir.text import fhir_uri
from converter.fhir.times import effective_time
from converter.model import Diagnostic, Note, Reading, Severity
from converter.words import Vocabulary

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:\S")


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """One note on its way to FHIR.

    Attributes:
        note, reading, vocabulary, options: as given.
        system: the note's system, or the site's default, as it is written.
        space: the same as a URI.
        subject, encounter, performer: references, or None where the note names none.
        effective: the note's time as a FHIR dateTime, or None.
        document_uuid, device_uuid: the UUIDs of the note itself and of the program.
    """

    note: Note
    reading: Reading
    vocabulary: Vocabulary
    options: FhirOptions
    system: str
    space: str
    subject: dict[str, Any] | None
    encounter: dict[str, Any] | None
    performer: dict[str, Any] | None
    effective: str | None
    document_uuid: str
    device_uuid: str

    @property
    def base(self) -> str:
        """Canonical base without a final slash."""
        return self.options.base

    def uuid(self, *parts: str | int) -> str:
        """The UUID of a thing in this note."""
        return uuid_of(self.system, self.note.id, *parts)

    def document(self) -> dict[str, Any]:
        """A reference to the note."""
        return literal("DocumentReference", self.document_uuid)

    def device(self) -> dict[str, Any]:
        """A reference to the program."""
        return literal("Device", self.device_uuid)

    def head(
        self,
        resource_type: str,
        uuid: str,
        profile: str,
        text: dict[str, Any],
        tag: dict[str, Any] | None = None,
    ) -> dict[str, Any]:
        """The first elements of a resource: type, id, meta and narrative."""
        meta: dict[str, Any] = {"profile": [f"{self.base}/StructureDefinition/{profile}"]}
        if tag is not None:
            meta["tag"] = [tag]
        return {"resourceType": resource_type, "id": uuid, "meta": meta, "text": text}

    def identifiers(self, resource_type: str, uuid: str) -> list[dict[str, Any]]:
        """The identifier list of a resource of ours."""
        return [own_identifier(self.base, resource_type, uuid)]

    def about(self) -> dict[str, Any]:
        """Patient, encounter and time, as far as they are known, in specification order."""
        parts = {"subject": self.subject, "encounter": self.encounter, "effectiveDateTime": self.effective}
        return {name: value for name, value in parts.items() if value is not None}


def context_of(
    note: Note, reading: Reading, vocabulary: Vocabulary, options: FhirOptions
) -> tuple[Context, tuple[Diagnostic, ...]]:
    """Gather what the resources of a note share, and what is doubtful about it."""
    system = note.system or options.default_system
    space, about_space = _space(note, system, options.base)
    effective, about_time = effective_time(note, options.zone)
    subject, about_subject = _subject(note, space, options)
    about_system = () if note.system else (_no_system(note, system),)
    context = Context(
        note=note,
        reading=reading,
        vocabulary=vocabulary,
        options=options,
        system=system,
        space=space,
        subject=subject,
        encounter=_other(note.encounter, "Encounter", options.encounter_system, space, options.base),
        performer=_other(note.author, "Practitioner", options.practitioner_system, space, options.base),
        effective=effective,
        document_uuid=uuid_of(system, note.id, "document"),
        device_uuid=device_uuid(reading),
    )
    return context, (*about_system, *about_space, *about_subject, *about_time)


def device_uuid(reading: Reading) -> str:
    """The UUID of the program with its vocabulary."""
    return uuid_of("device", reading.program, reading.vocabulary)


def _other(
    value: str | None, resource_type: str, system: str | None, note_system: str, base: str
) -> dict[str, Any] | None:
    if value is None:
        return None
    space = system or derived_system(base, note_system, resource_type.lower())
    return logical(resource_type, space, value)


def _subject(
    note: Note, note_system: str, options: FhirOptions
) -> tuple[dict[str, Any] | None, tuple[Diagnostic, ...]]:
    system = options.patient_system or derived_system(options.base, note_system, "patient")
    by_identifier = None if note.patient is None else logical("Patient", system, note.patient)
    if note.patient is None or by_identifier is None:
        return None, (
            _doubt("no-patient", "The note names no patient, so its records have no subject.", note),
        )
    if options.subject == "conditional":
        value = quote(f"{fhir_uri(system)}|{note.patient}", safe="", errors="replace")
        return {"reference": f"Patient?identifier={value}"}, ()
    if options.subject == "literal":
        known = (options.patient_ids or {}).get(note.patient)
        if known is None:
            message = "The patient is not in the list of known ids, so the records name the identifier alone."
            return by_identifier, (_doubt("patient-not-listed", message, note),)
        return {"reference": f"Patient/{known}"}, ()
    return by_identifier, ()


def _space(note: Note, system: str, base: str) -> tuple[str, tuple[Diagnostic, ...]]:
    """A URI for the note's system; a name that is none stands under our base."""
    uri = fhir_uri(system)
    if _SCHEME.match(uri):
        return uri, ()
    message = f"The system of the note, {system!r}, is no URI, so its identifiers stand under {base}."
    return f"{base}/identifier/note/{uri}", (_doubt("note-system-no-uri", message, note),)


def _no_system(note: Note, system: str) -> Diagnostic:
    message = f"The source names no system for its note ids, so {system} stands in for it."
    return _doubt("no-note-system", message, note, "Name the system in which the note ids are unique.")


def _doubt(code: str, message: str, note: Note, hint: str | None = None) -> Diagnostic:
    return Diagnostic(
        code=code, severity=Severity.WARNING, message=message, hint=hint, source=note.source, line=note.line
    )
