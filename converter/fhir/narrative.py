"""Plain sentences as FHIR narrative: XHTML with everything from the note escaped."""

import re
from collections.abc import Iterable, Sequence
from html import escape
from typing import Any

from converter.fhir.text import fhir_string

_XHTML = "http://www.w3.org/1999/xhtml"
_TO_ESCAPE = re.compile("[&<>\"']")


def narrative(sentences: Sequence[str]) -> dict[str, Any]:
    """A generated Narrative: one paragraph for one sentence, a list for several."""
    return escaped_narrative(escaped(sentences))


def escaped_narrative(said: Sequence[str]) -> dict[str, Any]:
    """The same of sentences that are escaped."""
    body = _list(said) if len(said) > 1 else f"<p>{said[0] if said else 'Nothing stated.'}</p>"
    return {"status": "generated", "div": f'<div xmlns="{_XHTML}">{body}</div>'}


def titled_narrative(sections: Iterable[tuple[str, Sequence[str]]]) -> dict[str, Any]:
    """A generated Narrative of several titled parts, of sentences that are escaped."""
    body = "".join(f"<h2>{escape(title)}</h2>{_list(said)}" for title, said in sections)
    return {"status": "generated", "div": f'<div xmlns="{_XHTML}">{body}</div>'}


def _list(said: Sequence[str]) -> str:
    return f"<ul><li>{'</li><li>'.join(said)}</li></ul>" if said else ""


def escaped(sentences: Sequence[str]) -> list[str]:
    """What there is to say, as XHTML; few sentences hold anything to escape."""
    said = (text for text in map(fhir_string, sentences) if text is not None)
    return [escape(text, quote=True) if _TO_ESCAPE.search(text) else text for text in said]
