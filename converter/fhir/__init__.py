"""Turns a note, its findings and its abnormalities into FHIR R4 resources, and writes them.

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
    from converter.fhir.options import FhirOptions
    from converter.fhir.resources import resources_of

__all__ = ["FhirOptions", "FolderWriter", "json_text", "resources_of", "transaction", "xml_text"]

__getattr__ = names_of(
    __name__,
    {
        "bundle": ("transaction",),
        "folder": ("FolderWriter",),
        "options": ("FhirOptions",),
        "resources": ("resources_of",),
    },
)
