"""Turns a note, its findings and its abnormalities into FHIR R4 resources, and writes them.

Takes Note, Reading and Assessments; gives plain dicts in specification order, a transaction Bundle, JSON and
XML text, and folders of files. Leaves checking them to `check`.
"""

from converter.fhir.bundle import transaction
from converter.fhir.folder import FolderWriter
from converter.fhir.json_text import json_text
from converter.fhir.options import FhirOptions
from converter.fhir.resources import resources_of
from converter.fhir.retraction import retractions
from converter.fhir.xml_text import xml_text

__all__ = [
    "FhirOptions",
    "FolderWriter",
    "json_text",
    "resources_of",
    "retractions",
    "transaction",
    "xml_text",
]
