"""Whatever is wrong with an input is said in one sentence with its place, and the other notes go through."""

import gzip
import io
import sys
from pathlib import Path

import pytest
from note_files import codes, json_lines, only, read, write

from converter.model import Severity
from converter.sources import SourceOptions

ERROR, WARNING = Severity.ERROR, Severity.WARNING


@pytest.mark.parametrize("name", ["a.txt", "a.csv", "a.jsonl", "a.txt.gz", "a"])
def test_an_empty_file(tmp_path: Path, name: str) -> None:
    notes, troubles = read(write(tmp_path / name, b""), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    assert name in (only(troubles, "empty-file", ERROR).source or "")


@pytest.mark.parametrize("name", ["a.jsonl", "a.ndjson.gz"])
def test_a_file_of_blank_lines(tmp_path: Path, name: str) -> None:
    notes, troubles = read(write(tmp_path / name, b"\n \n\t\n"))
    assert notes == []
    assert "white space" in only(troubles, "empty-file", ERROR).message


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n1 0 obj\n", "a PDF document"),
        (b"\x89PNG\r\n\x1a\n\x00\x00", "a picture"),
        (bytes(range(256)) * 4, "zero bytes"),
        (bytes(range(1, 9)) * 40, "control characters"),
    ],
)
@pytest.mark.parametrize("name", ["a.txt", "a.csv", "a.jsonl"])
def test_a_binary_file(tmp_path: Path, content: bytes, kind: str, name: str) -> None:
    notes, troubles = read(write(tmp_path / name, content), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    assert kind in only(troubles, "binary-file", ERROR).message


def test_windows_1252_is_read_and_said(tmp_path: Path) -> None:
    text = "Réflexes – “brisk” at the knee."
    (note,), troubles = read(write(tmp_path / "a.txt", text.encode("cp1252")))
    assert note.text == text
    assert "Windows-1252" in only(troubles, "wrong-encoding", WARNING, line=1).message


def test_a_byte_that_windows_1252_leaves_undefined_is_read_as_latin_1(tmp_path: Path) -> None:
    (note,), troubles = read(write(tmp_path / "a.txt", b"KJ 2+ \x81 caf\xe9"))
    assert note.text == "KJ 2+ \x81 café"
    assert "ISO 8859-1" in only(troubles, "wrong-encoding", WARNING, line=1).message


def test_only_the_lines_that_are_not_utf8_fall_back(tmp_path: Path) -> None:
    rows = [f'n{at},"{"é" * (at % 2)} knee jerk 2+"\n' for at in range(6)]
    mixed = [row.encode("cp1252" if at in (3, 5) else "utf-8") for at, row in enumerate(rows)]
    notes, troubles = read(write(tmp_path / "a.csv", b"id,text\n" + b"".join(mixed)))
    assert [note.text.count("é") for note in notes] == [0, 1, 0, 1, 0, 1]
    assert codes(troubles) == ["wrong-encoding", "wrong-encoding"]
    assert (troubles[0].line, "2 lines" in troubles[1].message) == (5, True)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-32", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("name", ["a.txt", "a.jsonl", "a.csv"])
def test_marked_and_wide_encodings_are_read_without_a_word(tmp_path: Path, encoding: str, name: str) -> None:
    text = "Knee jerk – 2+, toes ↓"
    content = {
        "a.txt": text,
        "a.jsonl": f'{{"id": "a", "text": "{text}"}}\n',
        "a.csv": f'id,text\na,"{text}"\n',
    }
    (note,), troubles = read(write(tmp_path / name, content[name].encode(encoding)))
    assert not troubles
    assert (note.id, note.text) == ("a", text)


def test_a_named_encoding_is_used(tmp_path: Path) -> None:
    file = write(tmp_path / "a.txt", "Colenoreflexe prezente, ţĂ".encode("cp1250"))
    (note,), troubles = read(file, options=SourceOptions(encoding="cp1250"))
    assert (note.text, troubles) == ("Colenoreflexe prezente, ţĂ", [])


def test_a_character_that_the_named_encoding_lacks_is_said(tmp_path: Path) -> None:
    file = write(tmp_path / "a.txt", b"KJ 2+\nAJ \x81 1+")
    (note,), troubles = read(file, options=SourceOptions(encoding="cp1252"))
    assert note.text == "KJ 2+\nAJ \ufffd 1+"
    assert "CP1252" in only(troubles, "wrong-encoding", WARNING, line=2).message


@pytest.mark.parametrize(
    ("line", "code", "words"),
    [
        ('{"id": "x", "text": "KJ 2+"', "not-json", "at column 28"),
        ("KJ 2+", "not-json", "at column 1"),
        ('["x", "KJ 2+"]', "not-an-object", "not an object"),
        ('"KJ 2+"', "not-an-object", "not an object"),
        ("3", "not-an-object", "not an object"),
        ('{"id": "x"}', "no-text", "field text"),
        ('{"id": "x", "text": null}', "no-text", "field text"),
        ('{"id": "x", "text": 7}', "no-text", "field text"),
        ('{"id": "x", "text": ["KJ"]}', "no-text", "field text"),
        ("[" * 100_000, "not-json", "nested too deeply"),
        ('{"id": ' + "9" * 5000 + ', "text": "x"}', "not-json", "too long"),
    ],
)
def test_a_bad_json_line(tmp_path: Path, line: str, code: str, words: str) -> None:
    good = json_lines([{"id": "a", "text": "KJ 2+"}])
    later = json_lines([{"id": "b", "text": "AJ 2+"}])
    notes, troubles = read(write(tmp_path / "a.jsonl", good + line + "\n" + later))
    assert [note.id for note in notes] == ["a", "b"]
    assert words in only(troubles, code, ERROR, line=2).message


def test_a_json_document_is_told_from_json_lines(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.json", '[\n  {"id": "a", "text": "KJ 2+"}\n]\n'))
    assert notes == []
    only(troubles, "json-not-lines", ERROR, line=1)


def test_a_json_field_that_is_no_text_is_left_out(tmp_path: Path) -> None:
    (note,), troubles = read(
        write(tmp_path / "a.jsonl", '{"id": "a", "text": "x", "author": {"name": "y"}}\n')
    )
    assert note.author is None
    only(troubles, "bad-field", WARNING, line=1)


def test_half_a_character_pair_is_shown_and_said(tmp_path: Path) -> None:
    (note,), troubles = read(write(tmp_path / "a.jsonl", '{"id": "a", "text": "KJ \\ud83d 2+"}\n'))
    assert note.text == "KJ \ufffd 2+"
    only(troubles, "broken-character", WARNING, line=1)


@pytest.mark.parametrize(
    ("row", "code", "words"),
    [
        ("b", "too-few-columns", "1 of the header's 3 columns"),
        ("b,KJ 2+", "too-few-columns", "2 of the header's 3 columns"),
        ("b,KJ 2+, toes down,p1", "too-many-columns", "4 columns where the header has 3"),
        ('b,"KJ "brisk" 2+",p1', "bad-quotes", "not doubled; it was left out"),
    ],
)
def test_a_bad_row(tmp_path: Path, row: str, code: str, words: str) -> None:
    file = write(tmp_path / "a.csv", f"id,text,patient\na,KJ 2+,p1\n{row}\nc,AJ 2+,p1\n")
    notes, troubles = read(file)
    assert [note.id for note in notes] == ["a", "c"]
    assert words in only(troubles, code, ERROR, line=3).message


def test_empty_columns_at_the_end_of_a_row_are_no_mistake(tmp_path: Path) -> None:
    (note,), troubles = read(write(tmp_path / "a.csv", "id,text\na,KJ 2+,,\n"))
    assert (note.text, troubles) == ("KJ 2+", [])


def test_an_open_quotation_mark_swallows_no_row_in_silence(tmp_path: Path) -> None:
    rows = ['n1,"KJ 2+"\n', 'n2,"KJ 2+\n', "n3,KJ 2+\n", 'n4,"AJ 1+"\n', "n5,AJ 2+\n"]
    notes, troubles = read(write(tmp_path / "a.csv", "id,text\n" + "".join(rows)))
    assert [note.id for note in notes] == ["n1", "n5"]
    assert "lines 3 to 5 were left out" in only(troubles, "bad-quotes", ERROR, line=3).message


def test_an_open_quotation_mark_at_the_end_of_the_file_is_said(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", 'id,text\nn1,KJ 2+\nn2,"AJ\nn3,AJ 2+\n'))
    assert [note.id for note in notes] == ["n1"]
    assert "lines 3 to 4" in only(troubles, "bad-quotes", ERROR, line=3).message


def test_lines_inside_a_broken_note_do_not_become_notes(tmp_path: Path) -> None:
    broken = 'n2,"Tone "normal", power full\nReflexes, 2+ throughout\nToes, down"\n'
    notes, troubles = read(write(tmp_path / "a.csv", f"id,text\nn1,KJ 2+\n{broken}n3,AJ 2+\n"))
    assert [note.id for note in notes] == ["n1", "n3"]
    assert codes(troubles)[0] == "bad-quotes"
    assert {trouble.severity for trouble in troubles} == {ERROR}


def test_a_header_without_the_text_column(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", "id,note\na,KJ 2+\n"))
    assert notes == []
    assert "id, note" in (only(troubles, "no-text-column", ERROR, line=1).hint or "")


def test_a_header_that_names_a_column_twice(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", "id,text,text\na,KJ 2+,AJ 2+\n"))
    assert notes == []
    only(troubles, "doubled-column", ERROR, line=1)


def test_a_header_without_rows(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.csv", "id,text\n"))
    assert notes == []
    only(troubles, "no-rows", WARNING)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.csv", 'id,text\na,"' + "x" * 2000 + '"\nb,KJ 2+\n'),
        ("a.jsonl", json_lines([{"id": "a", "text": "x" * 2000}, {"id": "b", "text": "KJ 2+"}])),
        ("a.jsonl", json_lines([{"id": "a", "text": "x" * 200_000}, {"id": "b", "text": "KJ 2+"}])),
    ],
)
def test_a_field_beyond_the_limit(tmp_path: Path, name: str, content: str) -> None:
    notes, troubles = read(write(tmp_path / name, content), options=SourceOptions(largest_note=1000))
    assert [note.id for note in notes] == ["b"]
    only(troubles, "too-large", ERROR, line=2 if name == "a.csv" else 1)


def test_a_text_file_beyond_the_limit(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.txt", "x" * 1001), options=SourceOptions(largest_note=1000))
    assert notes == []
    only(troubles, "too-large", ERROR)


@pytest.mark.parametrize("name", ["a.txt", "a.csv", "a.jsonl"])
def test_a_note_of_five_megabytes_goes_through(tmp_path: Path, name: str) -> None:
    text = "Knee jerk 2+. " * 375_000
    content = {
        "a.txt": text,
        "a.csv": f'id,text\na,"{text}"\n',
        "a.jsonl": json_lines([{"id": "a", "text": text}]),
    }
    (note,), troubles = read(write(tmp_path / name, content[name]))
    assert not troubles
    assert len(note.text) == len(text) == 5_250_000


@pytest.mark.parametrize("name", ["nowhere", "nowhere.csv", "no/such/folder"])
def test_a_missing_input(tmp_path: Path, name: str) -> None:
    notes, troubles = read(tmp_path / name, write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    assert name in (only(troubles, "missing-input", ERROR).source or "")


def test_a_folder_without_files_and_a_pattern_without_matches(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    _, troubles = read(tmp_path / "empty", f"{tmp_path}/*.csv")
    assert codes(troubles) == ["nothing-found", "nothing-found"]


@pytest.mark.parametrize("keep", [5, 20, 300])
def test_a_gzip_file_that_is_cut_off(tmp_path: Path, keep: int) -> None:
    records: list[dict[str, object]] = [
        {"id": f"n{at}", "text": f"KJ {at}+ {at * 7919}"} for at in range(200)
    ]
    packed = gzip.compress(json_lines(records).encode(), mtime=0)
    notes, troubles = read(write(tmp_path / "a.jsonl", packed[:keep]), write(tmp_path / "good.txt", "KJ 2+"))
    assert notes[-1].id == "good"
    assert [note.id for note in notes[:-1]] == [f"n{at}" for at in range(len(notes) - 1)]
    assert codes(troubles)[-1] == "broken-gzip"


def test_a_cut_off_gzip_gives_the_notes_before_the_cut(tmp_path: Path) -> None:
    records: list[dict[str, object]] = [
        {"id": f"n{at}", "text": f"KJ {at}+ {at * 7919}"} for at in range(9000)
    ]
    packed = gzip.compress(json_lines(records).encode(), mtime=0)
    notes, troubles = read(write(tmp_path / "a.jsonl", packed[: len(packed) * 9 // 10]))
    assert len(notes) > 7000
    assert [note.text for note in notes] == [record["text"] for record in records[: len(notes)]]
    only(troubles, "broken-gzip", ERROR)


def test_a_damaged_gzip_file(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(b"KJ 2+ and more of the same" * 40, mtime=0))
    packed[-6] ^= 0xFF  # the checksum
    _, troubles = read(write(tmp_path / "a.txt", bytes(packed)))
    only(troubles, "broken-gzip", ERROR)


@pytest.mark.parametrize(
    ("field", "value", "code", "kept"),
    [
        ("authored", "2023-02-30", "bad-date", None),
        ("authored", "03/02/2023", "bad-date", None),
        ("authored", "yesterday", "bad-date", None),
        ("authored", "2023-02-28T25:10", "bad-time", "2023-02-28"),
        ("birth_date", "1950-13-01", "bad-date", None),
        ("age", "-4", "bad-age", None),
        ("age", "old", "bad-age", None),
        ("age", "200", "bad-age", None),
    ],
)
def test_a_field_that_is_no_date_or_age_is_left_out(
    tmp_path: Path, field: str, value: str, code: str, kept: str | None
) -> None:
    (note,), troubles = read(write(tmp_path / "a.csv", f"id,text,{field}\na,KJ 2+,{value}\n"))
    assert getattr(note, field) == kept
    shown = f"({len(value)} characters)" if value.isalpha() else value
    assert shown in only(troubles, code, WARNING, line=2).message


def test_a_note_without_an_identifier_is_named_after_its_line(tmp_path: Path) -> None:
    notes, troubles = read(
        write(tmp_path / "a.csv", "id,text\n,KJ 2+\nb,KJ 2+\n"),
        write(tmp_path / "b.jsonl", '{"text": "AJ 2+"}\n'),
    )
    assert [note.id for note in notes] == ["a:2", "b", "b:1"]
    assert codes(troubles) == ["missing-id", "missing-id"]


@pytest.mark.parametrize(("name", "content"), [("a.csv", "id,text\na,\n"), ("a.txt", " \n")])
def test_a_note_with_an_empty_text_goes_through(tmp_path: Path, name: str, content: str) -> None:
    (note,), troubles = read(write(tmp_path / name, content))
    assert (note.id, note.text.strip()) == ("a", "")
    assert codes(troubles) == ["empty-text"]


def test_standard_input_is_read_by_content(monkeypatch: pytest.MonkeyPatch) -> None:
    for content, ids in (
        (b'{"id": "a", "text": "x"}\n', ["a"]),
        (b"id,text\nb,x\n", ["b"]),
        (b"KJ", ["standard-input"]),
    ):
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content)))
        notes, troubles = read("-")
        assert ([note.id for note in notes], troubles) == (ids, [])
        assert notes[0].source == "standard input"


def test_an_empty_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(b"")))
    notes, troubles = read("-")
    assert notes == []
    assert only(troubles, "empty-file", ERROR).source == "standard input"
