"""plexor: reads clinicians' reflex shorthand into checked, searchable FHIR Observations.

The dozen names here are the public interface; everything is loaded when it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from converter.api import assess as summarise
    from converter.api import convert, open_checker, open_session, read
    from converter.loading import load
    from converter.model import Abnormality, Diagnostic, Finding, Note, Reading
    from converter.searching import find

__all__ = [
    "Abnormality",
    "Diagnostic",
    "Finding",
    "Note",
    "Reading",
    "convert",
    "find",
    "load",
    "open_checker",
    "open_session",
    "read",
    "summarise",
]

_IN_API = {"summarise": "assess"}
"""A package of ours is called `assess`, so its work has another name here."""
_ELSEWHERE = {"load": "converter.loading", "find": "converter.searching"}
_NOUNS = frozenset({"Abnormality", "Diagnostic", "Finding", "Note", "Reading"})


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if name in _NOUNS:
        return getattr(import_module("converter.model"), name)
    return getattr(import_module(_ELSEWHERE.get(name, "converter.api")), _IN_API.get(name, name))
