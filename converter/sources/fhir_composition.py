"""The text of a FHIR Composition: the narratives of its sections under their titles.

Takes a Composition as plain values; gives its text with the origin, which counts in all its narratives one
after another. Which sections are read is decided by `sections`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from converter.sources.attachments import Taken
from converter.sources.fhir_values import Resource, concept, first, values
from converter.sources.fields import Place
from converter.sources.hypertext import text_of_html
from converter.sources.origins import Origin, moved
from converter.sources.sections import Section, chosen, passed_over
from converter.sources.troubles import error, warning

if TYPE_CHECKING:
    from converter.model import Diagnostic

_DEEPEST_SECTION = 30
_LOINC = "http://loinc.org"


@dataclass(frozen=True, slots=True)
class _Part:
    """A section, its title, and the number of the section that it stands in."""

    node: Any
    title: str
    inside: int | None


def composition_text(resource: Resource, place: Place, wanted: Sequence[str]) -> Taken:
    """The narratives of a Composition's sections; its own where no section has any.

    Args:
        resource: the Composition.
        place: where it stands, for messages.
        wanted: which sections are read.
    """
    parts: list[_Part] = []
    writer = _Narratives(place)
    if not _add_parts(resource, None, 1, parts):
        writer.troubles.append(
            error("nested-too-deeply", "Sections are nested too deeply; the inner ones were left out.",
                  place.source, place.line)
        )  # fmt: skip
    sections = [_described(part) for part in parts]
    read = chosen(sections, wanted)
    writer.troubles += passed_over(sections, read, wanted, place)
    for part, taken in zip(parts, read, strict=True):
        writer.section(part, taken=taken)
    if not writer.found:
        writer.narrative(resource)
    if not writer.found:
        trouble = warning("empty-document", "The Composition holds no narrative.", place.source, place.line)
        return Taken("\n".join(writer.lines), troubles=(*writer.troubles, trouble))
    return Taken("".join(writer.lines), tuple(writer.origin), tuple(writer.troubles))


def _add_parts(node: Any, inside: int | None, depth: int, parts: list[_Part]) -> bool:
    """Add the sections in a node, each before those in it; False where some are nested too deeply."""
    whole = True
    for section in values(node, "section"):
        if depth > _DEEPEST_SECTION:
            return False
        code = next(iter(values(section, "code")), None)
        parts.append(_Part(section, first(section, "title") or concept(code), inside))
        whole = _add_parts(section, len(parts) - 1, depth + 1, parts) and whole
    return whole


def _described(part: _Part) -> Section:
    codings = values(part.node, "code", "coding")
    code = next((first(one, "code") for one in codings if first(one, "system") == _LOINC), "")
    return Section(code=code, title=part.title, text=" ".join(_divs(part.node)), inside=part.inside)


def _divs(node: Any) -> Iterator[str]:
    return (one for one in values(node, "text", "div") if isinstance(one, str))


class _Narratives:
    """Puts narratives together."""

    def __init__(self, place: Place) -> None:
        self.lines: list[str] = []
        self.origin: list[tuple[int, int, int]] = []
        self.troubles: list[Diagnostic] = []
        self.found = False
        self._place = place
        self._length = 0
        self._before = 0

    def section(self, part: _Part, *, taken: bool) -> None:
        """Write a section, or pass over it."""
        if not taken:
            self._before += len(next(_divs(part.node), ""))
            return
        if part.title:
            self._write(part.title, ())
        self.narrative(part.node)

    def narrative(self, node: Any) -> None:
        """Write the narrative of a section or a resource."""
        source = next(_divs(node), "")
        text, origin, troubles = text_of_html(source, self._place.source, self._place.line)
        self.troubles += troubles
        if text:
            self.found = True
            self._write(text, moved(origin, 0, self._before))
        self._before += len(source)

    def _write(self, text: str, origin: Origin) -> None:
        if self.lines:
            self.lines.append("\n")
            self._length += 1
        self.origin += moved(origin, self._length)
        self.lines.append(text)
        self._length += len(text)
