"""Research and exchange formats, one file per target, and the frame that all of them are written in.

Takes notes with their readings and assessments as a stream; gives a folder of files with a manifest. Leaves
choosing the notes to `archive`, FHIR resources to `fhir`, and joining the three to `exporting` beside `api`.
"""

from converter.exports.frame import export
from converter.exports.values import (
    MANIFEST,
    Common,
    ExportedFile,
    ExportError,
    Manifest,
    Read,
    Reads,
    ReadWith,
    Target,
)
from converter.exports.writer import Writer

__all__ = [
    "MANIFEST",
    "Common",
    "ExportError",
    "ExportedFile",
    "Manifest",
    "Read",
    "ReadWith",
    "Reads",
    "Target",
    "Writer",
    "export",
]
