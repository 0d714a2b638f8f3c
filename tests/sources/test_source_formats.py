"""The same notes come out of every format, whatever the file is called and however it is packed."""

import csv
import io
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import codes, json_lines, read, write

from converter.model import Note
from converter.sources import SourceOptions
from converter.sources.format import Opened
from converter.sources.registry import FORMATS, recognised

RECORDS: list[dict[str, object]] = [
    {"id": "n1", "text": "Knee jerks 2+, toes down.", "patient": "p1", "authored": "2031-03-04"},
    {
        "id": "n2",
        "text": "Ankle jerk absent on the left,\nelsewhere 2+.",
        "patient": "p2",
        "authored": "2031-03",
    },
]


def as_rows(records: list[dict[str, object]], delimiter: str = ",") -> str:
    buffer = io.StringIO(newline="")
    writer = csv.DictWriter(buffer, list(records[0]), delimiter=delimiter, lineterminator="\n")
    writer.writeheader()
    writer.writerows(records)
    return buffer.getvalue()


def bare(notes: list[Note]) -> list[Note]:
    return [replace(note, source=None, line=None) for note in notes]


@pytest.mark.parametrize("packed", ["", ".gz"])
@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("notes.jsonl", json_lines(RECORDS)),
        ("notes.csv", as_rows(RECORDS)),
        ("notes.tsv", as_rows(RECORDS, "\t")),
        ("semicolons.csv", as_rows(RECORDS, ";")),
        ("bars.txt", as_rows(RECORDS, "|")),
        ("lines.txt", json_lines(RECORDS)),
        ("no_suffix", as_rows(RECORDS)),
    ],
)
def test_every_format_gives_the_same_notes(tmp_path: Path, name: str, content: str, packed: str) -> None:
    notes, troubles = read(write(tmp_path / (name + packed), content))
    assert not troubles
    assert bare(notes) == bare(read(write(tmp_path / "plain.jsonl", json_lines(RECORDS)))[0])
    assert [(note.id, note.text, note.patient) for note in notes] == [
        (record["id"], record["text"], record["patient"]) for record in RECORDS
    ]


def test_gzip_is_seen_without_its_suffix(tmp_path: Path) -> None:
    packed = write(tmp_path / "notes.csv.gz", as_rows(RECORDS))
    notes, troubles = read(packed.rename(tmp_path / "notes.csv"))
    assert not troubles
    assert [note.id for note in notes] == ["n1", "n2"]


def test_a_text_file_is_one_note_named_after_it(tmp_path: Path) -> None:
    (note,), troubles = read(write(tmp_path / "visit-7.txt", "KJ 2+/2+\n"))
    assert not troubles
    assert (note.id, note.text, note.line) == ("visit-7", "KJ 2+/2+\n", None)
    assert note.source == (tmp_path / "visit-7.txt").as_posix()


def test_line_numbers_are_those_of_the_file(tmp_path: Path) -> None:
    assert [note.line for note in read(write(tmp_path / "a.csv", as_rows(RECORDS)))[0]] == [2, 3]
    assert [note.line for note in read(write(tmp_path / "b.jsonl", "\n" + json_lines(RECORDS)))[0]] == [2, 3]
    two_lines = as_rows([RECORDS[1], {**RECORDS[0], "id": "n3"}])
    assert [note.line for note in read(write(tmp_path / "c.csv", two_lines))[0]] == [2, 4]


def test_columns_are_renamed_and_letter_case_is_forgiven(tmp_path: Path) -> None:
    file = write(tmp_path / "a.csv", "NOTE_NO,Body,PATIENT\n1,Reflexes absent.,p1\n")
    (note,), troubles = read(file, options=SourceOptions(columns={"id": "note_no", "text": "Body"}))
    assert not troubles
    assert (note.id, note.text, note.patient) == ("1", "Reflexes absent.", "p1")


def test_a_renamed_column_that_is_missing_is_said(tmp_path: Path) -> None:
    file = write(tmp_path / "a.csv", "id,text\n1,Reflexes absent.\n")
    (note,), troubles = read(file, options=SourceOptions(columns={"patient": "MRN"}))
    assert note.patient is None
    assert codes(troubles) == ["missing-column"]


def test_the_system_of_the_options_fills_in_for_notes_without_one(tmp_path: Path) -> None:
    options = SourceOptions(system="urn:example:notes")
    file = write(tmp_path / "a.csv", "id,text,system\n1,x,urn:example:other\n2,y,\n")
    notes, _ = read(file, options=options)
    assert [note.system for note in notes] == ["urn:example:other", "urn:example:notes"]


def test_a_named_format_counts_before_the_content(tmp_path: Path) -> None:
    content = json_lines(RECORDS)
    (note,), troubles = read(write(tmp_path / "a.jsonl", content), options=SourceOptions(input_format="text"))
    assert not troubles
    assert (note.id, note.text) == ("a", content)


def test_an_unknown_format_or_encoding_is_refused_at_once() -> None:
    with pytest.raises(ValueError, match=r"no input format xls; choose from parquet, .*, csv, tsv, text"):
        read("-", options=SourceOptions(input_format="xls"))
    with pytest.raises(ValueError, match="no encoding utf-9"):
        read("-", options=SourceOptions(encoding="utf-9"))


def test_numbers_of_json_become_text(tmp_path: Path) -> None:
    (note,), troubles = read(
        write(tmp_path / "a.jsonl", '{"id": 17, "text": "x", "patient": 4, "age": 71}\n')
    )
    assert not troubles
    assert (note.id, note.patient, note.age) == ("17", "4", 71)


TEXTS = st.text(
    st.characters(codec="utf-8", min_codepoint=32, exclude_characters="\ufeff") | st.sampled_from("\n\r\t\f"),
    min_size=1,
    max_size=60,
).filter(lambda text: bool(text.strip()))


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60, deadline=None)
@given(
    texts=st.lists(TEXTS | TEXTS.map(lambda text: text + "\r\nKJ 2+\n"), min_size=1, max_size=4, unique=True)
)
def test_any_text_survives_every_format_unchanged(tmp_path: Path, texts: list[str]) -> None:
    records: list[dict[str, object]] = [{"id": f"n{at}", "text": text} for at, text in enumerate(texts)]
    for record in records:
        write(tmp_path / "folder" / f"{record['id']}.txt", str(record["text"]))
    ways = [
        read(write(tmp_path / "a.jsonl", json_lines(records))),
        read(write(tmp_path / "a.csv", _quoted(records))),
        read(write(tmp_path / "b.csv.gz", _quoted(records, "\r\n"))),
        read(*(tmp_path / "folder" / f"n{at}.txt" for at in range(len(texts))), options=_TEXT),
    ]
    for notes, troubles in ways:
        assert not troubles
        assert [note.text for note in notes] == texts
        assert bare(notes) == bare(ways[0][0])


_TEXT = SourceOptions(input_format="text")


def _quoted(records: list[dict[str, object]], line_end: str = "\n") -> str:
    """RFC 4180 written by hand, so that no library translates a line end on the way."""
    rows = [["id", "text"], *([str(record["id"]), str(record["text"])] for record in records)]
    return "".join(",".join('"' + cell.replace('"', '""') + '"' for cell in row) + line_end for row in rows)


MARKS = st.sampled_from(
    [
        *(
            "{",
            "[",
            "<",
            '"',
            "}",
            "\\u0054",
            "\ufeff",
            "\n",
            "\r\n",
            " ",
            "\t",
            "\0",
            "\x0b",
            "x",
            "\u00a0",
            ",",
        ),
        *('{"resourceType": "Patient"', '{"resource\\u0054ype": "Patient"}', '{"id": "1", "text": "KJ 2+"}'),
        *("<?xml version='1.0'?>", "<!-- a -->", "<!DOCTYPE html>", "<html>", "<ClinicalDocument"),
        *("<Patient xmlns='http://hl7.org/fhir'>", "MSH|^~\\&|A|B|C|D\r", "OBX|1|TX|", "FHS|^~\\&|A", "PAR1"),
        *("{\\rtf1", "id,text\n", "id\ttext\n"),
    ]
)


@settings(max_examples=300, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    st.lists(MARKS, max_size=6).map("".join),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252"]),
    st.sampled_from([None, "utf-8", "utf-16", "cp1252"]),
)
def test_no_format_is_passed_over_whose_marks_a_file_bears(
    text: str, written: str, named: str | None
) -> None:
    """What is asked before a format's module is imported says no only where the module would."""
    head = text.encode(written, errors="replace")
    opened = Opened(name="a", note_id="a", path="a", head=head, stream=io.BytesIO(head))
    options = SourceOptions(encoding=named)
    asked = [kind for kind in FORMATS if kind.name not in ("tsv", "text")]
    assert list(recognised(opened, options)) == [kind for kind in asked if kind.recognise(opened, options)]


def test_a_file_of_lines_imports_no_parser_of_documents(tmp_path: Path) -> None:
    file = write(tmp_path / "a.jsonl", json_lines(RECORDS))
    code = f"""
import sys
from converter.sources import open_notes
assert len(list(open_notes([{str(file)!r}]))) == 2
print(*sorted(sys.modules))
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    parsers = {
        f"converter.sources.{name}" for name in ("cda", "fhir", "hl7v2", "hypertext", "parquet", "rtf")
    }
    assert not parsers & set(done.stdout.split())
    assert "converter.sources.jsonl" in done.stdout.split()
