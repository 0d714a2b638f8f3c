"""Inputs made or broken so as to do harm: huge lines, mixed encodings, identifiers that look like paths."""

import json
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import codes, json_lines, read, write

from converter.api import assess, convert, open_session, read_notes
from converter.model import Diagnostic, Note
from converter.sources import SourceOptions, format_names

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
HUNDRED = 100 * 1024 * 1024
GOOD_HL7 = "MSH|^~\\&|A|B|||2031||ORU^R01|9|P|2.5.1\rOBX|1|TX|1||KJ 2+\r"

PROGRAM = """
import json, resource, sys
from converter.model import Note
from converter.sources import SourceOptions, open_notes
items = list(open_notes(sys.argv[1:], SourceOptions(largest_note=1_000_000)))
said = [[item.id, item.text[:20]] if isinstance(item, Note) else item.code for item in items]
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
try:  # a started program inherits the peak of the one that started it; Linux also tells its own
    with open("/proc/self/status") as status:
        peak = next(int(line.split()[1]) for line in status if line.startswith("VmHWM"))
except OSError:
    pass
print(json.dumps({"said": said, "peak": peak}))
"""


@pytest.mark.parametrize(
    ("name", "before", "after", "also"),
    [
        ("a.txt", "", "", None),
        ("a.jsonl", '{"id": "a", "text": "', '"}\n{"id": "b", "text": "KJ 2+"}\n', "KJ 2+"),
        ("a.csv", 'id,text\na,"', '"\nb,KJ 2+\n', "KJ 2+"),
        ("a.hl7", "MSH|^~\\&|A|B\rOBX|1|TX|1||", "\r" + GOOD_HL7, "KJ 2+"),
        ("a.html", "<html><p>", "</p></html>", None),
        ("a.rtf", "{\\rtf1 ", "}", None),
        (
            "a.cda.xml",
            '<ClinicalDocument xmlns="urn:hl7-org:v3"><title>',
            "</title></ClinicalDocument>",
            None,
        ),
        ("a.fhir.xml", '<Basic xmlns="http://hl7.org/fhir"><id value="', '"/></Basic>', None),
        (
            "a.ndjson",
            '{"resourceType": "Observation", "valueString": "',
            '"}\n{"resourceType": "Observation", "id": "b", "valueString": "KJ 2+"}\n',
            "KJ 2+",
        ),
    ],
)
def test_a_hundred_megabytes_on_one_line(
    tmp_path: Path, name: str, before: str, after: str, also: str | None
) -> None:
    """The notes around it come out, it is said, and memory keeps to the limit for one note (here 1 MB)."""
    file = tmp_path / name
    with file.open("wb") as opened:
        opened.write(before.encode())
        for _ in range(100):
            opened.write(b"x" * (HUNDRED // 100))
        opened.write(after.encode())
    done = subprocess.run(
        [sys.executable, "-c", PROGRAM, str(file)], capture_output=True, check=True, text=True
    )
    result = json.loads(done.stdout)
    assert "too-large" in result["said"]
    assert [text for item in result["said"] if isinstance(item, list) for _, text in [item]] in ([], [also])
    assert also is None or [text for item in result["said"] if isinstance(item, list) for _, text in [item]]
    assert result["peak"] < 160 * 1024, result["peak"]  # kilobytes; starting Python and lxml takes a third


def test_encodings_may_be_mixed_within_one_folder_and_one_file(tmp_path: Path) -> None:
    text = "Réflexe – 2+"
    for number, encoding in enumerate(("utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252")):
        write(tmp_path / f"{number}.txt", text.encode(encoding))
        write(tmp_path / f"{number}.html", f"<html><p>{text}</p></html>".encode(encoding))
        write(
            tmp_path / f"{number}.hl7",
            GOOD_HL7.replace("KJ 2+", text).replace("|9|", f"|{number}|").encode(encoding),
        )
    notes, troubles = read(tmp_path)
    assert len(notes) == 15
    assert {note.text for note in notes} == {text}
    assert codes(troubles) == ["wrong-encoding"] * 3
    mixed = GOOD_HL7.replace("KJ 2+", text).encode() + GOOD_HL7.replace("KJ 2+", text).replace(
        "|9|", "|8|"
    ).encode("cp1252")
    notes, troubles = read(write(tmp_path / "mixed.hl7", mixed))
    assert [note.text for note in notes] == [text, text]
    assert codes(troubles) == ["wrong-encoding"]


HOSTILE = [
    "../../../outside",
    "/etc/passwd",
    "a/../../b",
    "C:\\x",
    "<script>alert(1)</script>",
    "=1+1",
    "\x1b[31m",
    ".",
]


@pytest.mark.parametrize("patient", HOSTILE)
def test_an_identifier_that_looks_like_a_path_stays_a_value(tmp_path: Path, patient: str) -> None:
    from converter.fhir.folder import FolderWriter

    records = [{"id": f"{patient}", "text": "KJ 2+", "patient": patient}]
    file = write(tmp_path / "in" / "a.jsonl", json_lines(records))
    out = tmp_path / "in" / "out"
    notes, _ = read(file)
    assert [(note.id, note.patient) for note in notes] == [(patient, patient)]
    before = set(tmp_path.rglob("*")) | {out}
    session = open_session()
    with FolderWriter(out, session.fhir) as writer:
        for note, reading in read_notes(notes, session):
            writer.write(convert(note, reading, assess(note, reading, session), session)[0])
    made = set(tmp_path.rglob("*")) - before
    assert made
    assert all(path.is_relative_to(out) for path in made)


@pytest.mark.parametrize("name", ["{patient}-*", "{patient}/*"])
def test_file_names_that_hold_hostile_identifiers_give_values_only(tmp_path: Path, name: str) -> None:
    write(tmp_path / "%2e%2e%2fx-1.txt", "KJ 2+")
    write(tmp_path / "$(touch x)" / "`id`-1.txt", "AJ 1+")
    before = sorted(tmp_path.rglob("*"))
    notes, _ = read(tmp_path, options=SourceOptions(file_name=name))
    assert len(notes) == 2
    assert any(note.patient for note in notes)
    assert sorted(tmp_path.rglob("*")) == before


PIECES = st.sampled_from(
    [
        *(b"MSH|^~\\&|A\r", b"BHS|^~\\&\r", b"OBX|1|TX|1||KJ\r", b"OBX|1|ED|1||^a^b^Base64^!\r"),
        *(b"PID|1||~^&\\F\\\r", b"TXA|", b"NTE|1||x\r", b"{\\rtf1 ", b"\\u99999999999?", b"\\'zz"),
        *(b"\\bin-4 ", b"\\trowd", b"\\cell", b"}", b"<html>", b"<table><td>", b"</table>", b"<!--"),
        *(b"<script>", b"&#xffffffff;", b"&#0;", b"<![CDATA[", b"]]>", b"<!DOCTYPE x [", b"]>"),
        *(b'<?xml version="1.0" encoding="utf-7"?>', b'<ClinicalDocument xmlns="urn:hl7-org:v3">'),
        *(b"</ClinicalDocument>", b"<text>x</text>", b"<component><structuredBody>"),
        *(b'{"resourceType": "Bundle", "entry": [', b'{"resourceType": "Observation", "valueString": 3}'),
        *(b'{"resourceType": "Composition", "section": {"text": {"div": "x"}}}', b"]}", b"\n", b"\x00"),
        *(b"\xff", b"\xef\xbb\xbf", b"\xff\xfe", b"PAR1", b"PK\x03\x04", b"PK\x05\x06" + bytes(18)),
        *(b"\x28\xb5\x2f\xfd", b"\x1f\x8b\x08", b"KJ 2+"),
    ]
)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=400, deadline=None)
@given(
    pieces=st.lists(PIECES, min_size=1, max_size=14),
    name=st.sampled_from(["a.hl7", "a.rtf", "a.html", "a.xml", "a.json", "a.parquet", "a.zip", "a.zst", "a"]),
    form=st.sampled_from([None, *format_names()]),
)
def test_no_content_raises_and_every_file_is_accounted_for(
    tmp_path: Path, pieces: list[bytes], name: str, form: str | None
) -> None:
    file = tmp_path / name
    file.write_bytes(b"".join(pieces))
    notes, troubles = read(file, options=SourceOptions(input_format=form))
    assert notes or troubles
    assert len({(note.system, note.id) for note in notes}) == len(notes)
    for trouble in troubles:
        assert trouble.source
        assert trouble.message.endswith((".", "\ufffd.", ")."))
        assert "\n" not in trouble.message


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None)
@given(
    name=st.sampled_from(["visit.cda.xml", "visit.fhir.xml", "visit.fhir.json", "visit.html", "visit.rtf",
                          "visit.mdm.hl7", "batch.oru.hl7", "visits.ndjson"]),
    at=st.floats(0, 1),
    put=st.binary(max_size=4),
    cut=st.integers(0, 30),
)  # fmt: skip
def test_no_damage_to_a_good_file_raises(tmp_path: Path, name: str, at: float, put: bytes, cut: int) -> None:
    content = (VISITS / name).read_bytes()
    place = int(at * len(content))
    notes, troubles = read(write(tmp_path / name, content[:place] + put + content[place + cut :]))
    assert notes or troubles
    assert all(isinstance(item, Note | Diagnostic) for item in [*notes, *troubles])
