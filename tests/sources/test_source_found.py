"""Faults that damaged inputs once laid bare, each as the smallest input that shows it."""

from pathlib import Path

import pytest
from note_files import codes, only, read, write

from converter.model import Severity
from converter.sources import SourceOptions

SENTENCE = "Knees 2+, lively on a warm day."


@pytest.mark.parametrize(
    ("name", "content", "code"),
    [
        ("a.csv", f'id,text\n"{SENTENCE}",x\n"{SENTENCE}",x\n', "duplicate-note"),
        ("a.csv", f'id,text\n"{SENTENCE}",x\n"{SENTENCE}",y\n', "identity-clash"),
    ],
)
def test_wording_in_the_place_of_an_identifier_is_not_shown(
    tmp_path: Path, name: str, content: str, code: str
) -> None:
    _, troubles = read(write(tmp_path / name, content))
    assert codes(troubles) == [code]
    assert "lively" not in troubles[0].message
    assert "(31 characters)" in troubles[0].message


@pytest.mark.parametrize(
    "line", ["Knees 2+, quite lively.", "A-1,lively (left; right),P-1", "A,lively and brisk at both knees"]
)
def test_a_line_of_a_note_in_the_place_of_a_header_is_not_shown(tmp_path: Path, line: str) -> None:
    _, troubles = read(write(tmp_path / "a.csv", f"{line}\n"), options=SourceOptions(input_format="csv"))
    assert codes(troubles) == ["no-text-column"]
    assert "lively" not in f"{troubles[0].message} {troubles[0].hint}"
    assert "do not look like names" in (troubles[0].hint or "")


@pytest.mark.parametrize("content", [b"", b"\xff\xfe", b"\n \n", b"\xef\xbb\xbf"])
@pytest.mark.parametrize("form", ["csv", "tsv"])
def test_a_table_without_a_line_is_an_empty_file(tmp_path: Path, content: bytes, form: str) -> None:
    _, troubles = read(write(tmp_path / "a.csv", content), options=SourceOptions(input_format=form))
    only(troubles, "empty-file", Severity.ERROR)


def test_a_date_over_two_lines_is_said_on_one(tmp_path: Path) -> None:
    message = "MSH|^~\\&|A|B|||2031||ORU^R01|9|P|2.5.1\rPID|1||P||||1970\n0102\rOBX|1|TX|1||KJ 2+\r"
    _, troubles = read(write(tmp_path / "a.hl7", message))
    assert "bad-date" in codes(troubles)
    assert all("\n" not in trouble.message for trouble in troubles)


def test_the_type_of_a_message_is_shown_only_where_it_is_one(tmp_path: Path) -> None:
    message = f"MSH|^~\\&|A|B|||2031||{SENTENCE}|9|P|2.5.1\rOBX|1|NM|1||5\r"
    _, troubles = read(write(tmp_path / "a.hl7", message))
    assert codes(troubles) == ["no-text-in-message"]
    assert "(1 unknown)" in troubles[0].message


@pytest.mark.parametrize("name", ["base64", "hex", "rot13", "zlib", "quopri", "a\0b"])
def test_a_codec_that_is_no_encoding_of_text_is_refused_at_once(name: str) -> None:
    with pytest.raises(ValueError, match="there is no encoding"):
        read("-", options=SourceOptions(encoding=name))


@pytest.mark.parametrize("name", ["utf-16", "utf-32", "undefined", "idna"])
@pytest.mark.parametrize(
    ("file", "content"),
    [
        ("a.txt", b"KJ 2+\n"),
        ("a.csv", b"id,text\n1,KJ 2+\n"),
        ("a.jsonl", b'{"id": "1", "text": "KJ 2+"}\n'),
        ("a.hl7", b"MSH|^~\\&|A|B\rOBX|1|TX|1||KJ 2+\r"),
    ],
)
def test_a_file_that_is_not_in_the_encoding_named_is_said(
    tmp_path: Path, name: str, file: str, content: bytes
) -> None:
    """UTF-16 without a byte order mark does not say which byte comes first (RFC 2781, section 3.3)."""
    bad, good = tmp_path / file, tmp_path / "good.txt"
    bad.write_bytes(content)
    good.write_bytes("\ufeffAJ 1+".encode(name if name.startswith("utf") else "utf-8"))
    notes, troubles = read(bad, good, options=SourceOptions(encoding=name))
    if name.startswith("utf"):
        assert [note.text.strip("\ufeff") for note in notes] == ["AJ 1+"]
        assert codes(troubles) == ["unreadable-encoding"]
    assert {trouble.source for trouble in troubles} >= {bad.as_posix()}
