"""Plain sentences as FHIR narrative: XHTML with everything from the note escaped."""

from collections.abc import Sequence
from html import escape
from typing import Any

from converter.fhir.text import fhir_string

_XHTML = "http://www.w3.org/1999/xhtml"


def narrative(sentences: Sequence[str]) -> dict[str, Any]:
    """A generated Narrative: one paragraph for one sentence, a list for several."""
    said = [escape(text, quote=True) for text in map(fhir_string, sentences) if text is not None]
    if not said:
        said = ["Nothing stated."]
    if len(said) == 1:
        body = f"<p>{said[0]}</p>"
    else:
        body = "<ul>" + "".join(f"<li>{text}</li>" for text in said) + "</ul>"
    return {"status": "generated", "div": f'<div xmlns="{_XHTML}">{body}</div>'}


def titled_narrative(sections: Sequence[tuple[str, Sequence[str]]]) -> dict[str, Any]:
    """A generated Narrative of several titled parts."""
    body = "".join(f"<h2>{escape(title)}</h2>{_list(sentences)}" for title, sentences in sections)
    return {"status": "generated", "div": f'<div xmlns="{_XHTML}">{body}</div>'}


def _list(sentences: Sequence[str]) -> str:
    said = [text for text in map(fhir_string, sentences) if text is not None]
    return "<ul>" + "".join(f"<li>{escape(text, quote=True)}</li>" for text in said) + "</ul>" if said else ""
