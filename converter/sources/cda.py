"""CDA R2 and C-CDA: one note a document, its sections under their titles, its layout kept as lines.

Takes a ClinicalDocument; gives a note whose text is the narrative of its sections in order: those of an
examination, or all where there is none or the options say so (see `sections`). What sections are called is
said by their titles, and where they have none by their LOINC codes. Coded entries are not read: the narrative
is what was attested.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.model import Diagnostic
from converter.sources.attachments import Taken, from_base64, from_text, kind_of
from converter.sources.cda_header import HL7, fields_of, loinc_code, sections_named
from converter.sources.fields import Place, note_from_fields
from converter.sources.flow import Flow
from converter.sources.format import NoteStream, Opened
from converter.sources.narrative import Narrative
from converter.sources.options import SourceOptions
from converter.sources.sections import Section, chosen, passed_over
from converter.sources.troubles import error, information
from converter.sources.whole_file import file_too_large
from converter.sources.xml_text import (
    NotParsed,
    Region,
    declared_encoding,
    line_of,
    looks_like_xml,
    narrate,
    parse_xml,
    regions,
    root_name,
    text_inside,
)

if TYPE_CHECKING:
    from lxml.etree import _Element

_ROOT = "ClinicalDocument"


def read_cda(opened: Opened, options: SourceOptions) -> NoteStream:
    """The one note of a clinical document."""
    lines = opened.lines(options, declared_encoding(opened.head))
    source = lines.everything(2 * options.largest_note + 65536)
    yield from lines.last_troubles()
    if source is None:
        yield file_too_large(opened, options)
        return
    root = parse_xml(source)
    if isinstance(root, NotParsed):
        yield error(root.code, f"The document {root.reason}, so it was left out.", opened.name, root.line)
    elif root.tag != f"{HL7}{_ROOT}":
        yield _unknown(root, opened.name)
    else:
        yield from _note(root, source, opened, options)


def _note(root: "_Element", source: str, opened: Opened, options: SourceOptions) -> NoteStream:
    place = Place(opened.name, None, opened.note_id)
    body = root.find(f"{HL7}component/{HL7}nonXMLBody/{HL7}text")
    taken = _sections(root, source, place, options) if body is None else _packed(body, place)
    yield from taken.troubles
    if taken.text is None:
        return
    if len(taken.text) > options.largest_note:
        yield file_too_large(opened, options)
        return
    note, troubles = note_from_fields({**fields_of(root), "text": taken.text}, place, options)
    yield from troubles
    yield replace(note, origin=taken.origin)


def _sections(root: "_Element", source: str, place: Place, options: SourceOptions) -> Taken:
    """The narrative of a structured body."""
    elements = list(root.iterfind(f"{HL7}component/{HL7}structuredBody//{HL7}section"))
    sections = _described(elements)
    taken = chosen(sections, options.sections)
    places = regions(root, source)
    flow = Flow()
    troubles = [*passed_over(sections, taken, options.sections, place)]
    read = [element for element, wanted in zip(elements, taken, strict=True) if wanted]
    for section in read:
        troubles += _section(section, source, places, flow, place)
    if bare := sum(map(_is_bare, read)):
        troubles.append(
            information(
                "section-without-narrative",
                f"Sections that hold coded entries but no narrative were not read ({bare}).",
                place.source,
            )
        )
    text, origin = flow.result()
    return Taken(text, origin, tuple(troubles))


def _described(elements: "Sequence[_Element]") -> list[Section]:
    """What decides whether a section is read."""
    numbers = {element: number for number, element in enumerate(elements)}
    sections = []
    for element in elements:
        text, title = element.find(f"{HL7}text"), element.find(f"{HL7}title")
        outer = next(element.iterancestors(f"{HL7}section"), None)
        sections.append(
            Section(
                code=loinc_code(element),
                title=text_inside(title) if title is not None else sections_named(element),
                text=text_inside(text) if text is not None else "",
                inside=None if outer is None else numbers[outer],
                line=line_of(element),
            )
        )
    return sections


def _is_bare(section: "_Element") -> bool:
    return section.find(f"{HL7}text") is None and section.find(f"{HL7}entry") is not None


def _section(
    section: "_Element", source: str, places: "dict[_Element, Region]", flow: Flow, place: Place
) -> Iterator[Diagnostic]:
    """Write one section: its title and its own narrative; sections in it come after it by themselves."""
    text = section.find(f"{HL7}text")
    title = section.find(f"{HL7}title")
    flow.new_line()
    flow.break_line()
    if title is not None and text_inside(title).strip():
        narrate(source, places[title], Narrative(flow))
    elif name := sections_named(section):
        flow.mark(name)
    flow.new_line()
    if text is not None:
        narrative = Narrative(flow, keep_lines=len(text) == 0)
        narrate(source, places[text], narrative)
        narrative.finish()
        yield from narrative.troubles(place.source, line_of(text))


def _packed(body: "_Element", place: Place) -> Taken:
    """The document of a body that is not XML (nonXMLBody): packed in base64, or as text."""
    place = Place(place.source, line_of(body), place.spare_id)
    content_type = body.get("mediaType") or "text/plain"
    if body.find(f"{HL7}reference") is not None:
        trouble = error(
            "attachment-elsewhere",
            "The document's text is in another file, so it was left out; nothing is fetched.",
            place.source,
            place.line,
        )
        return Taken(None, troubles=(trouble,))
    packed = text_inside(body)
    if body.get("representation") == "B64":
        return from_base64(packed, content_type, place)
    kind = kind_of(content_type)
    if kind == "rtf":
        return Taken(None, troubles=(_not_packed(place),))
    return from_text(packed, kind or "plain", place)


def _not_packed(place: Place) -> Diagnostic:
    return error(
        "attachment-not-packed",
        "The document is RTF that is not packed in base64, so it was left out.",
        place.source,
        place.line,
    )


def _unknown(root: "_Element", source: str) -> Diagnostic:
    name = str(root.tag).rpartition("}")[2][:60]
    return error(
        "unknown-xml",
        f"The XML document is neither CDA nor FHIR (its root is {name}), so it was left out.",
        source,
        line_of(root),
    )


def recognise_cda(opened: Opened, options: SourceOptions) -> bool:
    """Whether the file is a ClinicalDocument, or XML that nothing else takes, so that this is said."""
    text = "\n".join(opened.first_lines(options)[:2000])
    return root_name(text) == _ROOT or looks_like_xml(text)
