"""The text of a report in HL7 version 2: its OBX and NTE segments in order, as lines.

Takes the segments of one note; gives the text with its origin. Observations that carry a name of their own
(OBX-3) are labelled with it, since `2+` alone says nothing.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from converter.sources.attachments import Taken, from_base64, from_bytes
from converter.sources.fields import Place
from converter.sources.flow import Flow
from converter.sources.hl7_segments import Part, Segment, component_of, plain, write
from converter.sources.troubles import warning

if TYPE_CHECKING:
    from converter.model import Diagnostic

_RUNNING = frozenset(("TX", "FT"))
_TEXTS = _RUNNING | {"ST", "CF", "ED", "CE", "CWE", "CNE", ""}
_CODED = frozenset(("CE", "CWE", "CNE", "CF"))
_WITHDRAWN = frozenset(("D", "W"))  # table 0085: deleted; posted as wrong, e.g. for the wrong patient
_TYPES = {"TEXT": "text/plain", "TX": "text/plain", "FT": "text/plain"}
_SUBTYPES = {"RTF": "application/rtf", "HTML": "text/html", "XHTML": "text/html", "PLAIN": "text/plain"}


def holds_text(segments: Sequence[Segment]) -> bool:
    """Whether the segments of a group are a note: any comment or any observation in words."""
    return any(
        bool(segment.value(3))
        if segment.name == "NTE"
        else segment.value(2) in _TEXTS and _value(segment) != ""
        for segment in segments
    )


def text_of(segments: Sequence[Segment], place: Place) -> Taken:
    """The text of a group.

    Args:
        segments: its OBX and NTE.
        place: where it stands, for messages.
    """
    documents = [segment for segment in segments if _is_document(segment)]
    if len(documents) == 1 and len(segments) == 1:
        return _document(documents[0], place)
    writer = _Writer(segments, place)
    for segment in segments:
        writer.add(segment)
    text, origin = writer.flow.result()
    return Taken(text, origin, tuple(writer.troubles))


class _Writer:
    """Puts the text of a group together."""

    def __init__(self, segments: Sequence[Segment], place: Place) -> None:
        self.flow = Flow()
        self.troubles: list[Diagnostic] = []
        self._place = place
        self._named = len({_code(segment) for segment in segments if segment.name == "OBX"}) > 1
        self._last = ("", "")

    def add(self, segment: Segment) -> None:
        """Write one segment, starting a line."""
        if segment.name == "NTE":
            self._lines(segment, 3)
        elif segment.value(11) in _WITHDRAWN:
            self._say(segment, "withdrawn-result", "The observation is marked as deleted or wrong (OBX-11)")
        elif _is_document(segment):
            self._attached(segment)
        elif segment.value(2) == "RP":
            self._say(segment, "attachment-elsewhere", "The observation only points to a document (type RP)")
        elif _value(segment):
            self._observation(segment)

    def _observation(self, segment: Segment) -> None:
        kind = segment.value(2)
        new, self._last = _code(segment) != self._last, _code(segment)
        if kind in _RUNNING or not kind:
            if self._named and new:
                self._label(segment, ends_line=True)
            self._lines(segment, 5)
            return
        self.flow.new_line()
        if new:
            self._label(segment, ends_line=False)
        for number, part in enumerate(segment.repetitions(5)):
            if number:
                self.flow.break_line()
            self._coded(part, segment) if kind in _CODED else write(part, segment.marks, self.flow)
        unit = segment.component(6)
        if kind in ("NM", "SN") and plain(unit.text, segment.marks):
            self.flow.mark(" ")
            write(unit, segment.marks, self.flow)

    def _coded(self, part: Part, segment: Segment) -> None:
        """The words of a coded value: as they were entered, else the code's name, else the code."""
        words = [component_of(part, segment.marks, number) for number in (9, 2, 1)]
        write(next((word for word in words if word.text.strip()), part), segment.marks, self.flow)

    def _label(self, segment: Segment, *, ends_line: bool) -> None:
        """The name of the observation, unless its text starts with that already."""
        name = segment.component(3, 2)
        words = plain(name.text, segment.marks)
        if not words or _value(segment).casefold().startswith(words.casefold()):
            return
        self.flow.new_line()
        write(name, segment.marks, self.flow)
        self.flow.mark(":" if ends_line else ": ")

    def _lines(self, segment: Segment, number: int) -> None:
        """The repetitions of a field, each from a new line on; an empty line stays one."""
        for part in segment.repetitions(number):
            self.flow.new_line()
            if part.text != '""':
                write(part, segment.marks, self.flow)
            if not part.text.strip():
                self.flow.break_line()

    def _attached(self, segment: Segment) -> None:
        taken = _document(segment, self._place)
        self.troubles += taken.troubles
        if taken.text:
            self.flow.new_line()
            for line in taken.text.splitlines():
                self.flow.mark(line)
                self.flow.break_line()

    def _say(self, segment: Segment, code: str, start: str) -> None:
        self.troubles.append(warning(code, f"{start}, so it was left out.", self._place.source, segment.line))


def _is_document(segment: Segment) -> bool:
    return segment.name == "OBX" and segment.value(2) == "ED" and segment.value(11) not in _WITHDRAWN


def _document(segment: Segment, place: Place) -> Taken:
    """An encapsulated document (type ED, section 2.A.24): type, subtype, encoding, data."""
    place = Place(place.source, segment.line, place.spare_id)
    kind, subtype, encoding = (segment.value(5, number).upper() for number in (2, 3, 4))
    content_type = _SUBTYPES.get(subtype) or _TYPES.get(kind) or f"{kind}/{subtype}".lower().strip("/")
    data = segment.component(5, 5)
    if encoding == "BASE64":
        return from_base64(data.text, content_type, place)
    flow = Flow()
    write(data, segment.marks, flow)
    raw = flow.result()[0].encode("utf-8")
    return from_bytes(
        bytes.fromhex(raw.decode()) if encoding == "HEX" and _is_hex(raw) else raw, content_type, place
    )


def _is_hex(raw: bytes) -> bool:
    return len(raw) % 2 == 0 and not raw.strip(b"0123456789abcdefABCDEF")


def _code(segment: Segment) -> tuple[str, str]:
    """What an observation is of: its code and its name, since one code may stand for both sides."""
    return segment.value(3), segment.value(3, 2)


def _value(segment: Segment) -> str:
    """The value of an observation on one line, empty where it has none."""
    return plain(segment.field(5).text, segment.marks)
