"""Turns a note, its findings and its abnormalities into FHIR resources, and writes them.

Takes Note, Reading and Assessments; gives plain dicts in specification order, a transaction Bundle, JSON and
XML text, and folders of files. Leaves checking them to `check`.
"""

from typing import TYPE_CHECKING

from converter.fhir.json_text import json_text
from converter.fhir.xml_text import xml_text
from converter.lazily import names_of

if TYPE_CHECKING:
    from converter.fhir.bundle import transaction
    from converter.fhir.folder import FolderWriter
    from converter.fhir.ledger import Ledger, NoteEntry
    from converter.fhir.options import FhirOptions
    from converter.fhir.reading_back import ReadBack, read_back
    from converter.fhir.resources import resources_of
    from converter.fhir.retraction import retractions
    from converter.fhir.settling import settle, withdraw

__all__ = [
    "FhirOptions",
    "FolderWriter",
    "Ledger",
    "NoteEntry",
    "ReadBack",
    "json_text",
    "read_back",
    "resources_of",
    "retractions",
    "settle",
    "transaction",
    "withdraw",
    "xml_text",
]

__getattr__ = names_of(
    __name__,
    {
        "bundle": ("transaction",),
        "folder": ("FolderWriter",),
        "ledger": ("Ledger", "NoteEntry"),
        "options": ("FhirOptions",),
        "reading_back": ("ReadBack", "read_back"),
        "resources": ("resources_of",),
        "retraction": ("retractions",),
        "settling": ("settle", "withdraw"),
    },
)
