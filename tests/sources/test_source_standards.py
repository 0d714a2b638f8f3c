"""The formats against the standards that define them and against libraries that others wrote."""

import gzip
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import read, write

# Bytes 0x80 to 0x9F, WHATWG Encoding Standard, https://encoding.spec.whatwg.org/index-windows-1252.txt (from
# memory). The five bytes that Microsoft left undefined stand for the C1 control of their number.
WINDOWS_1252 = (
    "\u20ac\x81\u201a\u0192\u201e\u2026\u2020\u2021\u02c6\u2030\u0160\u2039\u0152\x8d\u017d\x8f"
    "\x90\u2018\u2019\u201c\u201d\u2022\u2013\u2014\u02dc\u2122\u0161\u203a\u0153\x9d\u017e\u0178"
)


def test_bytes_outside_utf8_are_those_of_the_encoding_standard(tmp_path: Path) -> None:
    content = b"KJ 2+ " + b" ".join(bytes([byte]) for byte in range(0x80, 0x100))
    (note,), _ = read(write(tmp_path / "a.txt", content))
    assert note.text == "KJ 2+ " + " ".join(WINDOWS_1252 + "".join(map(chr, range(0xA0, 0x100))))


# RFC 4180, section 2, https://www.rfc-editor.org/rfc/rfc4180: quotes, line breaks in quotes, doubled quotes.
@pytest.mark.parametrize(
    ("row", "text"),
    [
        ('"aaa","bbb"', "bbb"),
        ('aaa,"b \r\nbb"', "b \r\nbb"),
        ('"aaa","b""bb"', 'b"bb'),
        ('aaa,"b,bb"', "b,bb"),
        ("aaa, bbb ", " bbb "),
    ],
)
@pytest.mark.parametrize("last", ["\r\n", ""])
def test_rows_are_those_of_rfc_4180(tmp_path: Path, row: str, text: str, last: str) -> None:
    (note,), troubles = read(write(tmp_path / "a.csv", "id,text\r\n" + row + last))
    assert (note.id, note.text, troubles) == ("aaa", text, [])


def test_a_gzip_file_of_several_members_is_read_whole(tmp_path: Path) -> None:
    """RFC 1952, section 2.2: a gzip file is a series of members that follow one another."""
    parts = [b'{"id": "a", "text": "KJ 2+"}\n', b'{"id": "b", "text": "AJ 2+"}\n']
    notes, troubles = read(write(tmp_path / "a.jsonl", b"".join(gzip.compress(part) for part in parts)))
    assert ([note.id for note in notes], troubles) == (["a", "b"], [])


def test_json_lines_may_end_in_either_line_end_and_hold_any_escape(tmp_path: Path) -> None:
    """https://jsonlines.org and RFC 8259, section 7 (the escapes of strings)."""
    first = '{"id": "a", "text": "\\u004bJ \\"2+\\"\\r\\n\\t\\/ \\ud83d\\ude00"}\r\n'
    notes, troubles = read(write(tmp_path / "a.jsonl", first + '{"id": "b", "text": "x\u2028y"}'))
    assert [note.text for note in notes] == ['KJ "2+"\r\n\t/ \U0001f600', "x\u2028y"]
    assert not troubles


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=25, deadline=None)
@given(
    st.lists(
        st.text(
            st.characters(codec="utf-8", min_codepoint=32, exclude_characters="\ufeff") | st.just("\n"),
            min_size=1,
            max_size=30,
        ),
        min_size=1,
        max_size=5,
    )
)
def test_a_database_reads_the_same_texts_from_our_kind_of_csv(tmp_path: Path, texts: list[str]) -> None:
    """DuckDB's own CSV reader, told the form of RFC 4180, as a second opinion."""
    import duckdb

    rows = "".join(f'n{at},"{text.replace(chr(34), chr(34) * 2)}"\n' for at, text in enumerate(texts))
    file = write(tmp_path / "a.csv", "id,text\n" + rows)
    with duckdb.connect() as database:
        found = database.execute(
            "SELECT id, text FROM read_csv(?, header = true, delim = ',', quote = '\"', escape = '\"',"
            " columns = {'id': 'VARCHAR', 'text': 'VARCHAR'}, new_line = '\\n', nullstr = 'no such value')",
            [str(file)],
        ).fetchall()
    notes, _ = read(file)
    assert [(note.id, note.text) for note in notes] == found
