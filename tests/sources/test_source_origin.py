"""Every character of a note that stood in its source is found there again."""

import base64
import html
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from note_files import read, write

from converter.sources.hypertext import text_of_html
from converter.sources.origins import Origin, joined, moved, place_in_source
from converter.sources.rtf import text_of_rtf

VISITS = Path(__file__).parents[2] / "fixtures" / "sources"
MANY = settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=150, deadline=None)


def check(text: str, origin: Origin, source: str, escaped: str = "&\\") -> None:
    """Stretches are in order, apart, inside both texts, and equal in both but for white space and escapes."""
    end = 0
    for start, at, length in origin:
        assert start >= end
        assert length > 0
        end = start + length
        for offset in range(length):
            ours, theirs = text[start + offset], source[at + offset]
            assert ours == theirs or (ours == " " and theirs.isspace()) or theirs in escaped, (ours, theirs)
    assert end <= len(text)


def not_covered(text: str, origin: Origin) -> str:
    """The characters that stand in no stretch."""
    covered = {start + offset for start, _, length in origin for offset in range(length)}
    return "".join(character for place, character in enumerate(text) if place not in covered)


@pytest.mark.parametrize(
    ("name", "put_in"),
    [("visit.cda.xml", "\n| •"), ("visit.html", "\n| •"), ("visit.rtf", "\n| •"), ("visit.mdm.hl7", "\n:")],
)
def test_only_layout_is_put_in(name: str, put_in: str) -> None:
    (note,), _ = read(VISITS / name)
    source = (VISITS / name).read_bytes().decode("latin-1" if name.endswith("rtf") else "utf-8")
    check(note.text, note.origin, source, "&\\\x96")
    assert set(not_covered(note.text, note.origin)) <= set(put_in)


def test_the_origin_of_an_attachment_counts_in_the_attachment(tmp_path: Path) -> None:
    page = "<p>Knee &amp; ankle</p>"
    data = base64.b64encode(page.encode()).decode()
    resource = (
        '{"resourceType": "DocumentReference", "id": "a", "content": [{"attachment": {"contentType": '
        f'"text/html", "data": "{data}"}}}}]}}'
    )
    (note,), _ = read(write(tmp_path / "a.json", resource))
    assert note.text == "Knee & ankle"
    check(note.text, note.origin, page)


def test_the_origin_of_a_composition_counts_in_its_narratives_one_after_another() -> None:
    import json

    (note,), _ = read(VISITS / "visit.fhir.json")
    composition = json.loads((VISITS / "visit.fhir.json").read_text())["entry"][0]["resource"]
    outer = composition["section"][0]
    check(note.text, note.origin, outer["text"]["div"] + outer["section"][0]["text"]["div"])
    assert set(not_covered(note.text, note.origin)) <= set("\n| •Physical examinationReflexes")


def test_a_plain_text_is_its_own_source(tmp_path: Path) -> None:
    (note,), _ = read(write(tmp_path / "a.txt", "KJ 2+"))
    assert note.origin == ()
    assert place_in_source(note.origin, 3) == 3


def test_a_place_is_found_in_the_source() -> None:
    (note,), _ = read(VISITS / "visit.cda.xml")
    source = (VISITS / "visit.cda.xml").read_text(encoding="utf-8")
    at = place_in_source(note.origin, note.text.index("absent"))
    assert at is not None
    assert source[at : at + 6] == "absent"
    assert source[at - 4 : at] == "<td>"
    assert place_in_source(note.origin, note.text.index("| Ankle")) is None


def test_stretches_that_continue_one_another_are_one() -> None:
    assert joined([(0, 5, 2), (2, 7, 3), (5, 11, 1), (7, 12, 1)]) == ((0, 5, 5), (5, 11, 1), (7, 12, 1))
    assert moved(((0, 5, 2),), 3, 4) == ((3, 9, 2),)


@MANY
@given(st.text(st.characters(codec="utf-8", exclude_characters="\r\x00"), max_size=60))
def test_any_text_survives_html(text: str) -> None:
    source = f"<p>{html.escape(text)}</p>"
    found, origin, troubles = text_of_html(source, "a.html")
    assert troubles == []
    check(found, origin, source)
    assert found.split() == text.split()


@MANY
@given(st.text(st.sampled_from("KJ 2+\n\té€😀{}\\\u2028é–"), max_size=40))
def test_any_text_survives_rtf(text: str) -> None:
    source = rtf(text)
    found, origin, troubles = text_of_rtf(source.encode("ascii"), "a.rtf")
    assert troubles == []
    check(found, origin, source)
    assert found.rstrip("\n") == text.strip("\n").rstrip("\n") or found.split() == text.split()


@pytest.mark.parametrize("code_page", ["12", "99999"])
def test_under_an_unknown_code_page_only_plain_letters_are_read(code_page: str) -> None:
    source = rf"{{\rtf1\ansi\ansicpg{code_page} Knee jerks 2+ \'96 brisk}}"
    found, _, troubles = text_of_rtf(source.encode("ascii"), "a.rtf")
    assert found.strip() == "Knee jerks 2+ \ufffd brisk"
    assert [one.code for one in troubles] == ["unreadable-character"]


def test_code_page_nought_is_the_one_of_the_header() -> None:
    source = rb"{\rtf1\mac\ansicpg0 Knee jerks 2+ \'d0 brisk}"
    assert text_of_rtf(source, "a.rtf")[0].strip() == "Knee jerks 2+ – brisk"


def rtf(text: str) -> str:
    """A text as RTF 1.9.1 writes it: escapes for its own marks, UTF-16 units for what is not ASCII."""
    pieces = []
    for character in text:
        if character in "{}\\":
            pieces.append("\\" + character)
        elif character == "\n":
            pieces.append("\\par\n")
        elif character == "\t":
            pieces.append("\\tab ")
        elif character.isascii():
            pieces.append(character)
        else:
            units = character.encode("utf-16-le")
            for low, high in zip(units[::2], units[1::2], strict=True):
                unit = low + 256 * high
                pieces.append(f"\\u{unit - 65536 if unit > 32767 else unit}?")
    return "{\\rtf1\\ansi\\uc1 " + "".join(pieces) + "}"


def test_the_hash_is_of_the_text_that_was_taken_out() -> None:
    from converter.sources.fields import text_hash

    assert all(note.hash == text_hash(note.text) for note in read(VISITS)[0])
