"""What a site decides about its FHIR output, as one frozen value."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

Release = Literal["R4", "R5"]
DEFAULT_BASE = "https://plexor.example/fhir"
DEFAULT_SYSTEM = f"{DEFAULT_BASE}/identifier/local-note"

_BASE = re.compile(r"https?://[^\s/]+(/[^\s/]+)*")
# FHIR R4 instant and id
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_ID = re.compile(r"[A-Za-z0-9.-]{1,64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class FhirOptions:
    """Choices for turning findings into FHIR resources.

    Attributes:
        base: canonical base of every profile, code system and identifier system, without a final slash.
        status: `preliminary` until a person confirms the reading, or `final`.
        quotes: whether the words of the note travel with the spans.
        note_text: whether the note's text travels in the DocumentReference.
        zone: IANA name of the time zone of times written without one; None cuts those to the day.
        subject: how the patient is referred to: `logical` (identifier only), `conditional` (a search, for
            transactions) or `literal` (an id from `patient_ids`).
        patient_ids: patient identifier -> id of the Patient on the server, for `literal`.
        patient_system: URI in which patient identifiers are unique; None derives one from the note's system.
        practitioner_system, encounter_system, facility_system: the same for the other identifiers.
        default_system: system of notes whose source names none.
        expand: whether to add one Observation for each reflex and side that a wider statement covers.
        release: FHIR release of the output: `R4`, or `R5`, whose resources claim no profile of ours.
        diagnostic_report: whether to add a DiagnosticReport per exam.
        recorded: time of the reading, an ISO 8601 instant with its zone; None leaves out Provenance.
    """

    base: str = DEFAULT_BASE
    status: Literal["preliminary", "final"] = "preliminary"
    quotes: bool = True
    note_text: bool = False
    zone: str | None = None
    subject: Literal["logical", "conditional", "literal"] = "logical"
    patient_ids: Mapping[str, str] | None = None
    patient_system: str | None = None
    practitioner_system: str | None = None
    encounter_system: str | None = None
    facility_system: str | None = None
    default_system: str = DEFAULT_SYSTEM
    expand: bool = False
    release: Release = "R4"
    diagnostic_report: bool = False
    recorded: str | None = None

    def __post_init__(self) -> None:
        """Refuse what would make every resource wrong.

        Raises:
            ValueError: one sentence that names the option.
        """
        if not _BASE.fullmatch(self.base):
            raise ValueError(f"base: {self.base!r} is no web address without a final slash")
        if self.recorded is not None and not _INSTANT.fullmatch(self.recorded):
            raise ValueError(f"recorded: {self.recorded!r} is no instant such as 2031-03-02T08:00:00Z")
        if self.zone is not None:
            _check_zone(self.zone)
        for patient, known in (self.patient_ids or {}).items():
            if not _ID.fullmatch(known):
                raise ValueError(f"patient_ids: {known!r}, for patient {patient!r}, is no FHIR id")


def _check_zone(name: str) -> None:
    try:
        ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise ValueError(f"zone: {name!r} is no time zone that is known here") from error
