"""HL7 version 2 against the standard and against a library that others wrote.

The standard is HL7 version 2.5.1: sections 2.5 to 2.7 and 2.10, chapter 7 (OBX), chapter 9 (TXA). Its rules
are from memory.
"""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import codes, only, read, write

from converter.model import Note, Severity
from converter.sources import SourceOptions
from converter.sources.hl7_segments import iso_time

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
MSH = "MSH|^~\\&|WARD|CLINIC-4|||20310507090000||ORU^R01|M-1|P|2.5.1"
PID = "PID|1||P-1"
OBR = "OBR|1||R-1|1^Exam^L|||20310507"


def message(*segments: str, end: str = "\r") -> str:
    return "".join(segment + end for segment in (MSH, PID, OBR, *segments))


def one(tmp_path: Path, content: str | bytes) -> Note:
    (note,), _ = read(write(tmp_path / "a.hl7", content))
    return note


@pytest.mark.parametrize(
    ("written", "text"),
    [
        (r"a \F\ b", "a | b"),
        (r"a \S\ b", "a ^ b"),
        (r"a \T\ b", "a & b"),
        (r"a \R\ b", "a ~ b"),
        (r"a \E\ b", "a \\ b"),
        (r"a\.br\b", "a\nb"),
        (r"a\.sp2\b", "a\n\nb"),
        (r"a\.sp 2\b", "a\n\nb"),
        (r"a\.in+4\b", "ab"),
        (r"\H\a\N\ b", "a b"),
        (r"a\X0D0A\b", "a\nb"),
        (r"caf\XE9\ ", "café "),
        ("a~b", "a\nb"),
        ("a^b&c", "a^b&c"),
        (r"KJ 2\AJ 1", r"KJ 2\AJ 1"),
        (r"\Zlocal\x", r"\Zlocal\x"),
    ],
)
def test_escapes_are_those_of_section_2_7(tmp_path: Path, written: str, text: str) -> None:
    assert one(tmp_path, message(f"OBX|1|FT|1^Exam^L||{written}")).text == text


@pytest.mark.parametrize("end", ["\r", "\n", "\r\n", "\r\r\n"])
def test_any_line_end_parts_segments(tmp_path: Path, end: str) -> None:
    segments = ["OBX|1|TX|1^Exam^L||KJ 2+", "OBX|2|TX|1^Exam^L||AJ 1+"]
    assert one(tmp_path, message(*segments, end=end)).text == "KJ 2+\nAJ 1+"


def test_frames_of_the_lower_layer_protocol_are_taken_off(tmp_path: Path) -> None:
    framed = "\x0b" + message("OBX|1|TX|1^Exam^L||KJ 2+") + "\x1c\r"
    notes, troubles = read(write(tmp_path / "a.hl7", framed * 2))
    assert [note.text for note in notes] == ["KJ 2+"]
    assert codes(troubles) == ["duplicate-note"]


def test_a_raw_line_break_inside_a_field_goes_on_and_is_said(tmp_path: Path) -> None:
    content = message("OBX|1|TX|1^Exam^L||KJ 2+\nDTR 1+ at the ankles\n\nToes down|||")
    (note,), troubles = read(write(tmp_path / "a.hl7", content))
    assert note.text == "KJ 2+\nDTR 1+ at the ankles\n\nToes down"
    only(troubles, "line-break-in-segment", Severity.WARNING, line=5)


def test_other_marks_than_the_usual_ones_are_read_from_the_header(tmp_path: Path) -> None:
    content = "MSH#*!/%#W#C###20310507##ORU*R01#M-1#P#2.5.1\rPID#1##P*9\rOBX#1#FT#1*X##a/F/b!c"
    note = one(tmp_path, content)
    assert (note.patient, note.text) == ("P", "a#b\nc")


def test_each_report_of_a_batch_is_a_note() -> None:
    notes, troubles = read(VISITS / "batch.oru.hl7")
    assert [(note.id, note.system, note.patient, note.encounter, note.author) for note in notes] == [
        ("R-1", "urn:oid:2.999.4.9", "P-901", "E-78", "EX-7"),
        ("R-3", None, "P-902", None, None),
    ]
    assert notes[0].text.splitlines() == [
        "Knee jerks 2+ on both sides.",
        "Ankle jerk absent on the left,",
        "1+ on the right.",
        "Left leg in a cast until April.",
    ]
    assert notes[1].text == "Right knee reflex: 3+\nPlantar response left: extensor"
    assert [(note.authored, note.birth_date) for note in notes] == [
        ("2031-05-07T08:30:00+10:00", "1969"),
        ("2031-05", "1955-03-01"),
    ]
    assert codes(troubles) == ["withdrawn-result", "no-text-in-message"]


def test_a_name_stands_before_each_value_even_where_the_code_is_the_same(tmp_path: Path) -> None:
    segments = ["OBX|1|ST|9^Right knee reflex^L||3+", "OBX|2|ST|9^Left knee reflex^L||2+"]
    assert one(tmp_path, message(*segments)).text == "Right knee reflex: 3+\nLeft knee reflex: 2+"


def test_a_document_in_base64_is_unpacked(tmp_path: Path) -> None:
    import base64

    data = base64.b64encode(rb"{\rtf1\ansi Knee jerks 2+.\par}").decode()
    assert one(tmp_path, message(f"OBX|1|ED|1^Exam^L||^TEXT^RTF^Base64^{data}")).text == "Knee jerks 2+."


def test_a_pointer_to_a_document_is_said(tmp_path: Path) -> None:
    content = message("OBX|1|RP|1^Exam^L||file://server/x", "OBX|2|TX|1^Exam^L||KJ 2+")
    notes, troubles = read(write(tmp_path / "a.hl7", content))
    assert [note.text for note in notes] == ["KJ 2+"]
    only(troubles, "attachment-elsewhere", Severity.WARNING, line=4)


@pytest.mark.parametrize("status", ["CA", "OB"])
def test_a_document_that_was_taken_back_is_left_out(tmp_path: Path, status: str) -> None:
    """Table 0273: deleted, obsolete."""
    content = f"{MSH}\r{PID}\rTXA|1|PN|FT|{'|' * 8}D-1|||||||{status}\rOBX|1|TX|1||KJ 2+\r"
    notes, troubles = read(write(tmp_path / "a.hl7", content))
    assert notes == []
    only(troubles, "withdrawn-document", Severity.WARNING, line=3)


@pytest.mark.parametrize("lost", ["PID|1||P-1\rOBX|1|TX|1||KJ 4+\r", "OBX|1|TX|1||KJ 4+\r"])
def test_segments_without_a_header_are_said_and_the_rest_goes_on(tmp_path: Path, lost: str) -> None:
    good = message("OBX|1|TX|1||KJ 2+")
    batch = "BHS|^~\\&|W\r" + lost + good + "BTS|1\r"
    notes, troubles = read(write(tmp_path / "a.hl7", batch))
    assert [note.text for note in notes] == ["KJ 2+"]
    assert "MSH" in only(troubles, "hl7-without-msh", Severity.ERROR, line=2).message


def test_a_file_that_starts_without_a_header_is_known_for_what_it_is(tmp_path: Path) -> None:
    file = write(tmp_path / "a.txt", "PID|1||P-1\rOBX|1|TX|1||KJ 4+\r" + message("OBX|1|TX|1||KJ 2+"))
    notes, troubles = read(file)
    assert [note.text for note in notes] == ["KJ 2+"]
    assert "the 1 after it" in only(troubles, "hl7-without-msh", Severity.ERROR, line=1).message


@pytest.mark.parametrize("header", ["MSH", "MSH|", "MSH|^^^^|A", "MSH|^~\\|&"])
def test_a_header_that_names_no_marks(tmp_path: Path, header: str) -> None:
    content = f"{header}\r{PID}\rOBX|1|TX|1||KJ 4+\r" + message("OBX|1|TX|1||KJ 2+")
    notes, troubles = read(write(tmp_path / "a.hl7", content))
    assert notes[-1].text == "KJ 2+"
    if len(notes) == 1:
        assert {"bad-header", "hl7-without-msh"} & set(codes(troubles))


def test_a_batch_that_is_cut_off_or_miscounted_is_said(tmp_path: Path) -> None:
    good = message("OBX|1|TX|1||KJ 2+")
    _, troubles = read(write(tmp_path / "a.hl7", "BHS|^~\\&|W\r" + good + "BTS|7\r"))
    assert "7 messages, but it holds 1" in only(troubles, "batch-count", Severity.WARNING, line=6).message
    _, troubles = read(write(tmp_path / "b.hl7", "BHS|^~\\&|W\r" + good))
    only(troubles, "batch-without-end", Severity.WARNING, line=1)


@pytest.mark.parametrize(
    ("written", "read_as"),
    [
        ("2031", "2031"),
        ("203105", "2031-05"),
        ("20310507", "2031-05-07"),
        ("203105070830", "2031-05-07T08:30+1000"),
        ("20310507083015", "2031-05-07T08:30:15+1000"),
        ("20310507083015.25-0500", "2031-05-07T08:30:15.25-0500"),
        ("2031050708", "2031-05-07T08"),
        ("May 2031", "May 2031"),
    ],
)
def test_times_are_as_precise_as_written(written: str, read_as: str) -> None:
    assert iso_time(written, "+1000") == read_as


def test_a_day_that_does_not_exist_is_said(tmp_path: Path) -> None:
    content = f"{MSH}\r{PID}\rOBR|1||R-1|1^Exam^L|||20230230\rOBX|1|TX|1||KJ 2+\r"
    (note,), troubles = read(write(tmp_path / "a.hl7", content))
    assert note.authored is None
    assert "2023-02-30" in only(troubles, "bad-date", Severity.WARNING, line=3).message


def test_the_character_set_of_the_header_is_used(tmp_path: Path) -> None:
    header = MSH + "||||||8859/2"
    content = f"{header}\r{PID}\rOBX|1|TX|1||Odruch żywy\r".encode("iso8859-2")
    (note,), troubles = read(write(tmp_path / "a.hl7", content))
    assert (note.text, troubles) == ("Odruch żywy", [])


def test_a_segment_and_a_message_beyond_the_limit(tmp_path: Path) -> None:
    long = message("OBX|1|TX|1||" + "x" * 70_000) + message("OBX|1|TX|1||KJ 2+")
    notes, troubles = read(write(tmp_path / "a.hl7", long), options=SourceOptions(largest_note=1000))
    assert [note.text for note in notes][-1] == "KJ 2+"
    assert "too-large" in codes(troubles)
    many = message(*[f"OBX|{at}|TX|1||{'x' * 500}" for at in range(200)])
    notes, troubles = read(write(tmp_path / "b.hl7", many), options=SourceOptions(largest_note=1000))
    assert notes == []
    assert codes(troubles)[0] == "too-large"


WORDS = st.text(st.sampled_from("KJ 2+|^~\\&é"), min_size=1, max_size=30).filter(
    lambda text: bool(text.strip())
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=100, deadline=None)
@given(st.lists(WORDS, min_size=1, max_size=4))
def test_what_a_library_writes_is_read_back(tmp_path: Path, texts: list[str]) -> None:
    """PyPI `hl7`: it parses the message, escapes each text and writes the whole."""
    hl7 = pytest.importorskip("hl7", reason="the library hl7 is not installed")
    written = hl7.parse(message(*[f"OBX|{at}|TX|1||x" for at, _ in enumerate(texts)]))
    for segment, text in zip(written.segments("OBX"), texts, strict=True):
        segment.assign_field(written.escape(text), 5)
    note = one(tmp_path, str(written))
    assert [line.strip() for line in note.text.splitlines()] == [text.strip() for text in texts]


def test_a_library_reads_the_same_fields() -> None:
    """PyPI `hl7` as a second opinion on the fixture's identity."""
    hl7 = pytest.importorskip("hl7", reason="the library hl7 is not installed")
    parsed = hl7.parse((VISITS / "visit.mdm.hl7").read_bytes().decode())
    (note,), _ = read(VISITS / "visit.mdm.hl7")
    assert note.id == parsed.extract_field("TXA", 1, 12, 1, 1)
    assert note.patient == parsed.extract_field("PID", 1, 3, 1, 1)
    assert note.encounter == parsed.extract_field("PV1", 1, 19, 1, 1)
    assert note.author == parsed.extract_field("TXA", 1, 9, 1, 1)
    assert note.facility == parsed.extract_field("PV1", 1, 3, 1, 4)
