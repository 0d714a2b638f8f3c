"""Turns a note, its findings and its abnormalities into FHIR resources (R4, or R5), and writes them.

Takes Note, Reading and Assessments; gives plain dicts in specification order, a transaction Bundle, JSON and
XML text, and folders of files. Leaves checking them to `check`.
"""

from converter.fhir.bundle import transaction
from converter.fhir.folder import FolderWriter
from converter.fhir.json_text import json_text
from converter.fhir.ledger import Ledger, NoteEntry
from converter.fhir.options import FhirOptions
from converter.fhir.reading_back import ReadBack, read_back
from converter.fhir.resources import resources_of
from converter.fhir.retraction import retractions
from converter.fhir.settle import settle, withdraw
from converter.fhir.xml_text import xml_text

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
