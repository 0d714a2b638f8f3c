"""The segments of HL7 version 2: their fields, components and repetitions, each with its place in the file.

HL7 version 2.5.1, chapter 2: segments end in a carriage return; line feeds are common in files and taken too.
"""

import re
from dataclasses import dataclass

from converter.sources.flow import Flow

HEADERS = frozenset(("MSH", "BHS", "FHS"))
TRAILERS = frozenset(("BTS", "FTS"))
_UNNAMED = ("\0", "\0", "\\", "\0")


@dataclass(frozen=True, slots=True)
class Marks:
    """The characters that part a message, as its header names them (section 2.5.4)."""

    field: str = "|"
    component: str = "^"
    repetition: str = "~"
    escape: str = "\\"
    subcomponent: str = "&"

    def escapes(self) -> re.Pattern[str]:
        """Finds the escape sequences that have a meaning of their own (section 2.7)."""
        mark = re.escape(self.escape)
        return re.compile(
            rf"{mark}(?:(?P<plain>[FSTREPHN])|X(?P<hex>(?:[0-9A-Fa-f]{{2}})+)|\.(?P<layout>[a-z]{{2}})"
            rf"\s?(?P<count>[+-]?\d{{0,4}})){mark}"
        )


def marks_of(header: str) -> Marks | None:
    """The marks that the start of a header segment names, or None where they cannot be."""
    field, codes = header[3:4], header[4:].partition(header[3:4] or "|")[0]
    named = [field, *codes[:4]]
    if not codes or len(set(named)) < len(named) or any(mark.isalnum() or mark.isspace() for mark in named):
        return None
    component, repetition, escape, subcomponent = [*codes[:4], *_UNNAMED[len(codes[:4]) :]]
    return Marks(field, component, repetition, escape, subcomponent)


@dataclass(frozen=True, slots=True)
class Part:
    """Some characters of a segment and their place in the file."""

    text: str
    at: int


@dataclass(frozen=True, slots=True)
class Segment:
    """One segment.

    Attributes:
        name: its three letters.
        raw: all its characters, without the end of its last line.
        at: place of the first one in the file.
        line: its line in the file.
        marks: what parts it.
    """

    name: str
    raw: str
    at: int
    line: int
    marks: Marks

    def field(self, number: int) -> Part:
        """A field as it is written, by its number in the standard."""
        index = number - 1 if self.name in HEADERS else number
        at = 0
        for _ in range(index):
            at = self.raw.find(self.marks.field, at) + 1
            if not at:
                return Part("", self.at)
        end = self.raw.find(self.marks.field, at)
        return Part(self.raw[at : end if end >= 0 else len(self.raw)], self.at + at)

    def repetitions(self, number: int) -> list[Part]:
        """The repetitions of a field."""
        return parted(self.field(number), self.marks.repetition)

    def component(self, number: int, component: int = 1, subcomponent: int = 1) -> Part:
        """A component of the first repetition of a field."""
        return component_of(self.repetitions(number)[0], self.marks, component, subcomponent)

    def value(self, number: int, component: int = 1, subcomponent: int = 1) -> str:
        """A component's value, empty where it is absent or the null of HL7 (`""`)."""
        return plain(self.component(number, component, subcomponent).text, self.marks)


def component_of(part: Part, marks: Marks, component: int, subcomponent: int = 1) -> Part:
    """A component of a field or repetition; empty where there are not as many."""
    return _nth(parted(_nth(parted(part, marks.component), component), marks.subcomponent), subcomponent)


def parted(part: Part, mark: str) -> list[Part]:
    """The pieces between marks."""
    if mark not in part.text:
        return [part]
    pieces: list[Part] = []
    at = part.at
    for text in part.text.split(mark):
        pieces.append(Part(text, at))
        at += len(text) + 1
    return pieces


def _nth(parts: list[Part], number: int) -> Part:
    return parts[number - 1] if number <= len(parts) else Part("", parts[-1].at)


def plain(text: str, marks: Marks) -> str:
    """A short value with its escapes undone, on one line."""
    if text.strip() in ("", '""'):
        return ""
    if marks.escape not in text:
        return text.strip()
    flow = Flow()
    write(Part(text, 0), marks, flow)
    return " ".join(flow.result()[0].split())


def write(part: Part, marks: Marks, flow: Flow) -> None:
    """Write a text with its escapes undone, its spaces and lines kept (sections 2.7.1 to 2.7.6)."""
    at = 0
    for escape in marks.escapes().finditer(part.text) if marks.escape in part.text else ():
        flow.verbatim(part.text[at : escape.start()], part.at + at)
        _write_escape(escape, part.at + escape.start(), marks, flow)
        at = escape.end()
    flow.verbatim(part.text[at:], part.at + at)


def _write_escape(escape: re.Match[str], at: int, marks: Marks, flow: Flow) -> None:
    if escape["layout"] is not None:
        _lay_out(escape["layout"], int(escape["count"].strip("+-") or 1), flow)
        return
    if escape["hex"] is not None:
        text = bytes.fromhex(escape["hex"]).decode("cp1252", "replace")
    else:
        text = {
            "F": marks.field,
            "S": marks.component,
            "T": marks.subcomponent,
            "R": marks.repetition,
            "E": marks.escape,
            "P": "#",
        }.get(escape["plain"], "")
    for line, piece in enumerate(re.split(r"\r\n|\r|\n", text)):
        if line:
            flow.break_line()
        if piece:
            flow.character(piece, at)


def _lay_out(command: str, count: int, flow: Flow) -> None:
    """Formatting commands (section 2.7.6); those that only indent or centre change no word."""
    if command in ("br", "ce"):
        flow.break_line()
    elif command == "sp":
        for _ in range(min(count, 100)):
            flow.break_line()
    elif command == "sk":
        flow.mark(" " * min(count, 200))


_TIME = re.compile(r"(\d{4})(\d\d)?(\d\d)?(?:(\d\d)(\d\d)?(\d\d)?(\.\d{1,9})?)?([+-]\d{4})?", re.ASCII)


def iso_time(written: str, zone: str = "") -> str:
    """A time stamp of HL7 in the form of ISO 8601, exactly as precise.

    Args:
        written: `YYYY[MM[DD[HH[MM[SS[.S...]]]]]][+/-ZZZZ]` (TS of version 2 and of version 3); anything
            else is given back unchanged, so that it is said to be no date.
        zone: the message's zone, for a time of day that names none.
    """
    found = _TIME.fullmatch(written.strip())
    if found is None:
        return written
    year, month, day, hour, minute, second, fraction, own_zone = found.groups(default="")
    text = "-".join(part for part in (year, month, day) if part)
    if not hour:
        return text
    text += "T" + ":".join(part for part in (hour, minute, second) if part) + fraction
    return text + (own_zone or zone) if minute else text
