"""Parts a file of HL7 version 2 into messages, one at a time, whether or not they stand in batches.

Takes lines; gives each message with its segments, and what was wrong with the file: segments that belong to
no message, batches whose count does not agree, lines that are no segments.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace

from converter.model import Diagnostic
from converter.sources.decode import Lines
from converter.sources.hl7_segments import HEADERS, TRAILERS, Marks, Segment, marks_of
from converter.sources.troubles import error, warning

_NAME = re.compile(r"[A-Z][A-Z0-9]{2}")
_FRAMES = "\x0b\x1c"  # of the Minimal Lower Layer Protocol, around each message


@dataclass(slots=True)
class Message:
    """One message: its MSH and what follows it."""

    segments: list[Segment]

    @property
    def header(self) -> Segment:
        """Its MSH."""
        return self.segments[0]


@dataclass(slots=True)
class Group:
    """What belongs to one note: the segments of one report or document, and those that identify it.

    Attributes:
        message: the message that it stands in.
        patient: PID.
        visit: PV1.
        order: OBR.
        document: TXA.
        texts: OBX and NTE, in order.
        number: its number within the message, from 1.
    """

    message: Message
    patient: Segment | None = None
    visit: Segment | None = None
    order: Segment | None = None
    document: Segment | None = None
    texts: list[Segment] = field(default_factory=list)
    number: int = 1

    @property
    def line(self) -> int:
        """The line where it starts."""
        first = self.document or self.order or (self.texts[0] if self.texts else self.message.header)
        return first.line


@dataclass(slots=True)
class _State:
    """Where in a file the reader stands.

    Attributes:
        message: the open message.
        size: characters in it.
        marks: of the latest header.
        stray: the first of the segments that stand in no message, with how many they are.
        batch: messages since the open batch began, None outside; and the line where it began.
    """

    message: Message | None = None
    size: int = 0
    marks: Marks = field(default_factory=Marks)
    stray: Segment | None = None
    strays: int = 0
    batch: int | None = None
    batch_line: int = 0


def messages(lines: Lines, source: str, longest: int) -> Iterator[Message | Diagnostic]:
    """The messages of a file, and what is wrong with it, in order.

    Args:
        lines: the file.
        source: its name, for messages.
        longest: characters that a message may hold.
    """
    state = _State()
    for item in _segments(lines, source, longest):
        if isinstance(item, Diagnostic):
            yield item
        elif item.name in HEADERS:
            yield from _closed(state, source)
            yield from _opened(item, state, source)
        elif item.name in TRAILERS:
            yield from _closed(state, source)
            yield from _batch_end(item, state, source)
        elif state.message is None:
            state.stray = state.stray or item
            state.strays += 1
        else:
            yield from _added(item, state, source, longest)
    yield from _closed(state, source)
    if state.batch is not None:
        yield warning(
            "batch-without-end",
            "The batch has no end (BTS), so messages may be missing.",
            source,
            state.batch_line,
        )


@dataclass(slots=True)
class _Growing:
    """A segment that the next line may go on with."""

    pieces: list[str]
    at: int
    line: int
    size: int
    between: str = ""

    def go_on(self, bare: str, end: str, source: str, longest: int) -> Iterator[Diagnostic]:
        """Add a line, unless the segment grows too large, which is said once."""
        before = self.size
        self.size += len(self.between) + len(bare)
        if self.size <= longest:
            self.pieces += [self.between, bare]
        elif before <= longest:
            yield error(
                "too-large",
                f"The segment holds more than {longest} characters; the rest of it was left out.",
                source,
                self.line,
            )
        self.between = end

    def segment(self, marks: Marks) -> Segment:
        raw = "".join(self.pieces)
        name = raw[:3] if _starts_segment(raw, marks) else ""
        return Segment(name, raw, self.at, self.line, marks)


def groups_of(message: Message) -> list[Group]:
    """The groups of a message, in order; a group without text may be among them."""
    groups = [Group(message)]
    for segment in message.segments[1:]:
        last = groups[-1]
        if segment.name == "PID":
            groups.append(Group(message, patient=segment))
        elif segment.name == "PV1":
            last.visit = segment
        elif segment.name == "OBR":
            if last.order or any(text.name == "OBX" for text in last.texts):
                groups.append(last := Group(message, last.patient, last.visit))
            last.order = segment
        elif segment.name == "TXA":
            if last.document or any(text.name == "OBX" for text in last.texts):
                groups.append(last := Group(message, last.patient, last.visit))
            last.document = segment
        elif segment.name in ("OBX", "NTE"):
            last.texts.append(segment)
    return groups


def _segments(lines: Lines, source: str, longest: int) -> Iterator[Segment | Diagnostic]:
    """Segments; a line that starts like none goes on with the segment before it."""
    growing: _Growing | None = None
    marks = Marks()
    at = 0
    while line := lines.next_line(longest):
        here, at = at, at + len(line)
        yield from lines.troubles()
        if len(line) >= longest and not line.endswith(("\n", "\r")):
            at += lines.rest_of_line()
            yield _too_long(source, lines.number, longest)
            continue
        bare = line.rstrip("\r\n" + _FRAMES)
        start = len(bare) - len(bare.lstrip(_FRAMES + " \t"))
        if _starts_segment(bare[start:], marks) or (growing is None and bare.strip()):
            if growing is not None:
                yield growing.segment(marks)
            if bare[start : start + 3] in HEADERS:
                marks = marks_of(bare[start:]) or marks
            growing = _Growing([bare[start:]], here + start, lines.number, len(line), line[len(bare) :])
        elif growing is not None and not bare.strip():
            growing.between += line
        elif growing is not None:
            if len(growing.pieces) == 1:
                yield _joined(growing, source, lines.number)
            yield from growing.go_on(bare, line[len(bare) :], source, longest)
    if growing is not None:
        yield growing.segment(marks)


def _starts_segment(line: str, marks: Marks) -> bool:
    """Whether a line starts with the name of a segment and the mark that parts fields."""
    if line[:3] in HEADERS:
        return len(line) > 3 and not line[3].isalnum() and not line[3].isspace()
    if line[:3] in TRAILERS and len(line) == 3:
        return True
    return bool(_NAME.match(line)) and line[3:4] == marks.field


def _opened(header: Segment, state: _State, source: str) -> Iterator[Diagnostic]:
    """Start a message or a batch."""
    marks = marks_of(header.raw)
    if marks is None:
        yield error(
            "bad-header",
            f"The segment {header.name} does not say how the message is parted, so it could not be read.",
            source,
            header.line,
            hint=r"A message starts with MSH and the marks that part it, usually MSH|^~\&.",
        )
        return
    state.marks = marks
    header = replace(header, marks=marks)
    if header.name == "MSH":
        state.message, state.size = Message([header]), len(header.raw)
        state.batch = state.batch + 1 if state.batch is not None else None
    elif header.name == "BHS":
        state.batch, state.batch_line = 0, header.line


def _added(segment: Segment, state: _State, source: str, longest: int) -> Iterator[Message | Diagnostic]:
    """Add a segment to the open message, unless that grows too large."""
    if state.message is None:
        return
    state.size += len(segment.raw)
    if state.size > longest:
        line = state.message.header.line
        state.message = None
        yield error(
            "too-large",
            f"The message holds more than {longest} characters, so it was left out.",
            source,
            line,
        )
    else:
        state.message.segments.append(replace(segment, marks=state.marks))


def _closed(state: _State, source: str) -> Iterator[Message | Diagnostic]:
    """Give the open message, or say which segments stood in none."""
    if state.stray is not None:
        yield _without_header(state.stray, state.strays, source)
    if state.message is not None:
        yield state.message
    state.message, state.stray, state.strays = None, None, 0


def _batch_end(trailer: Segment, state: _State, source: str) -> Iterator[Diagnostic]:
    """Compare the count that a batch's end names (BTS-1) with the messages there were."""
    if trailer.name != "BTS":
        return
    named = replace(trailer, marks=state.marks).value(1)
    if state.batch is not None and named.isdigit() and int(named) != state.batch:
        yield warning(
            "batch-count",
            f"The batch says that it holds {named[:12]} messages, but it holds {state.batch}.",
            source,
            trailer.line,
        )
    state.batch = None


def _without_header(stray: Segment, count: int, source: str) -> Diagnostic:
    what = f"The segment {stray.name}" if stray.name else "A line"
    rest = f" and the {count - 1} after it belong" if count > 1 else " belongs"
    return error(
        "hl7-without-msh",
        f"{what}{rest} to no message, since no MSH stands before it, so nothing was read from there.",
        source,
        stray.line,
        hint="Each message starts with a segment MSH.",
    )


def _joined(growing: _Growing, source: str, line: int) -> Diagnostic:
    return warning(
        "line-break-in-segment",
        f"The line does not start as a segment does; it was taken to go on with line {growing.line}.",
        source,
        line,
    )


def _too_long(source: str, line: int, longest: int) -> Diagnostic:
    return error(
        "too-large", f"The line holds more than {longest} characters, so it was left out.", source, line
    )
