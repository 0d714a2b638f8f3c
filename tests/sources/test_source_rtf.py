"""RTF against its specification and against a library that others wrote.

The specification is Microsoft's Rich Text Format (RTF) Specification, version 1.9.1 (2008); its rules are
from memory.
"""

import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from note_files import codes, only, read, write

from converter.model import Severity
from converter.sources import SourceOptions
from converter.sources.rtf import text_of_rtf


def text_of(body: str) -> str:
    text, _, _ = text_of_rtf(("{\\rtf1\\ansi " + body + "}").encode("latin-1"), "a.rtf")
    return text


@pytest.mark.parametrize(
    ("body", "text"),
    [
        (r"KJ 2+\par AJ 1+", "KJ 2+\nAJ 1+"),
        ("KJ\r\n 2+\\line AJ", "KJ 2+\nAJ"),
        (r"a\tab b", "a\tb"),
        (r"\{a\}\\", "{a}\\"),
        (r"a\~b\_c\-d", "a\xa0b\u2011cd"),
        (r"a{\b b}\i c\i0 d", "abcd"),
        (r"a\b b", "ab"),
        (r"caf\'e9", "café"),
        (r"\ansicpg1250 \'b9", "ą"),
        (r"\mac \'8e", "é"),
        (r"\u8595?x", "↓x"),
        (r"\uc0\u8595 x", "↓x"),
        (r"\uc2\u8595 ??x", "↓x"),
        (r"\u8595\'3fx", "↓x"),
        (r"\u-10179?\u-8704?", "\U0001f600"),
        (r"{\*\unknown gone}kept", "kept"),
        (r"{\info{\author gone}}{\stylesheet{\s0 gone;}}kept", "kept"),
        (r"{\field{\*\fldinst HYPERLINK x}{\fldrslt shown}}", "shown"),
        (r"a{\footnote b}", "ab"),
        (r"{\shp{\*\shpinst{\sp{\sn gone}{\sv 1}}{\shptxt boxed}}{\shprslt gone}}", "boxed"),
        (r"{\pict\pngblip 89504e47}kept", "kept"),
        (r"{\pict\bin5 }{}\x}kept", "kept"),
        (r"\trowd\intbl a\cell b\cell\row\pard c", "| a | b |\nc"),
        (r"\trowd\pard\intbl a\cell b\cell\trowd\row\pard c", "| a | b |\nc"),
        (r"\trowd\intbl a\par b\cell 1\par 2\cell\row", "| a | 1 |\n| b | 2 |"),
        (r"\trowd\intbl a\cell\cell\row", "| a |  |"),
        (r"{\listtext\tab 1.}a\par", "• a"),
    ],
)
def test_control_words_mean_what_the_specification_says(body: str, text: str) -> None:
    assert text_of(body) == text


def test_symbols_of_the_symbol_font_are_arrows() -> None:
    """Adobe Symbol encoding: 0xAF is the arrow down."""
    fonts = r"{\fonttbl{\f0\fnil\fcharset0 Sans;}{\f1\fnil\fcharset2 Symbol;}}"
    assert text_of(rf"{fonts}\f0 toes {{\f1 \'af}}\f0  right") == "toes ↓ right"


@pytest.mark.parametrize("word", ["strike", "deleted", "v"])
def test_struck_and_hidden_wording_is_left_out_and_said(tmp_path: Path, word: str) -> None:
    body = rf"{{\rtf1\ansi KJ {{\{word} 4+}}\{word} 3+\{word}0  2+}}"
    (note,), troubles = read(write(tmp_path / "a.rtf", body))
    assert note.text == "KJ  2+"
    only(troubles, "struck-out", Severity.WARNING)


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (r"{\rtf1 KJ 2+", "rtf-cut-off"),
        (r"{\rtf1 KJ 2+} and more", "rtf-after-end"),
        (r"{\rtf1{\header Ward 3}KJ 2+}", "rtf-aside"),
        (r"{\rtf1{\pict 00}KJ 2+}", "not-text"),
        (r"{\rtf1\ansi KJ 2+\u55357?}", None),
        (r"{\rtf1\ansi\ansicpg1252 KJ 2+\'81}", "unreadable-character"),
    ],
)
def test_what_is_wrong_or_left_out_is_said(tmp_path: Path, content: str, code: str | None) -> None:
    (note,), troubles = read(write(tmp_path / "a.rtf", content))
    assert note.text.rstrip("\ufffd") == "KJ 2+"
    assert codes(troubles) == ([code] if code else [])


def test_a_file_that_is_only_called_rtf_is_said(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "a.rtf", "KJ 2+\nAJ 1+"))
    assert notes == []
    only(troubles, "not-rtf", Severity.ERROR)
    named = SourceOptions(input_format="text")
    assert read(tmp_path / "a.rtf", options=named)[0][0].text == "KJ 2+\nAJ 1+"


def test_the_byte_of_a_code_page_needs_no_escape(tmp_path: Path) -> None:
    (note,), _ = read(write(tmp_path / "a.rtf", "{\\rtf1\\ansi café 2+}".encode("cp1252")))
    assert note.text == "café 2+"


@pytest.mark.parametrize(
    "body",
    ["{" * 200_000, "\\'" * 200_000, r"{\field{\*\fldinst{HYPERLINK " * 20_000, "\\u8595" * 100_000,
     r"\trowd\cell" * 50_000, "\\bin99999999 x"],
)  # fmt: skip
def test_time_stays_in_proportion(body: str) -> None:
    began = time.perf_counter()
    text_of(body)
    assert time.perf_counter() - began < 10


PIECES = st.sampled_from(
    ["KJ 2+", "absent", r"\par ", r"\tab ", r"{\b bold}", r"\'e9", r"\u8595?", r"\endash ", r"{\*\gone x}",
     " ", r"\emdash ", r"\line ", "é"]
)  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(st.lists(PIECES, min_size=1, max_size=12).map("".join))
def test_a_library_takes_the_same_text(body: str) -> None:
    """PyPI `striprtf` as a second opinion on running text."""
    striprtf = pytest.importorskip("striprtf.striprtf", reason="the library striprtf is not installed")
    source = "{\\rtf1\\ansi\\ansicpg1252 " + body + "}"
    theirs = striprtf.rtf_to_text(source)
    assert text_of(body).rstrip() == theirs.strip("\n").rstrip()


def test_a_library_takes_the_same_cells() -> None:
    striprtf = pytest.importorskip("striprtf.striprtf", reason="the library striprtf is not installed")
    file = Path(__file__).parents[2] / "fixtures" / "sources" / "visit.rtf"
    theirs = striprtf.rtf_to_text(file.read_text(encoding="latin-1"))
    (note,), _ = read(file)
    ours = [
        cell.strip() for line in note.text.splitlines() if "|" in line for cell in line.strip("|").split("|")
    ]
    assert ours == [
        cell for line in theirs.splitlines() if "|" in line for cell in line.strip("|").split("|")
    ]
    assert len(ours) == 12
