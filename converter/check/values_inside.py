"""Rules of single data types that no definition states in a form that can be evaluated.

Takes a value of a type; adds what is wrong to Findings. Source: FHIR R4,
https://hl7.org/fhir/R4/datatypes.html, on Attachment, Coding, Identifier and Quantity.
"""

import base64
import binascii
import re
from typing import Any

from converter.check.findings import Findings
from converter.model import Severity

Json = dict[str, Any]

_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*:")
_WITH_SYSTEM = frozenset({"Coding", "Identifier", "Quantity", "Age", "Distance", "Duration", "Count"})
_URI_SYSTEM = "urn:ietf:rfc:3986"


def check_inside(kind: str, value: Json, path: str, found: Findings) -> None:
    """Check what a data type asks beyond its elements."""
    if kind in _WITH_SYSTEM:
        _check_system(kind, value, path, found)
    elif kind == "Attachment":
        _check_size(value, path, found)


def _check_system(kind: str, value: Json, path: str, found: Findings) -> None:
    system = value.get("system")
    if not isinstance(system, str) or not system.strip():
        return
    if not _SCHEME.match(system):
        found.add(
            "system-relative",
            f"{path}.system",
            f"{path}.system is {system!r}; it must be an absolute URI.",
            severity=Severity.WARNING if kind == "Coding" else Severity.ERROR,
            expected="an absolute URI",
            rule=kind,
        )
    number = value.get("value")
    if (
        kind == "Identifier"
        and system == _URI_SYSTEM
        and isinstance(number, str)
        and not _SCHEME.match(number)
    ):
        found.add(
            "identifier-uri",
            f"{path}.value",
            f"{path}.value is {number!r}; with the system {_URI_SYSTEM} it must be a whole URI.",
            expected="an absolute URI",
            rule=kind,
        )


def _check_size(value: Json, path: str, found: Findings) -> None:
    size, data = value.get("size"), value.get("data")
    if not isinstance(size, int) or not isinstance(data, str):
        return
    try:
        actual = len(base64.b64decode("".join(data.split()), validate=True))
    except (binascii.Error, ValueError):
        return  # the format is reported already
    if actual != size:
        found.add(
            "attachment-size",
            f"{path}.size",
            f"{path}.size says {size} bytes, but the data has {actual}.",
            expected=str(actual),
            rule="Attachment",
        )
