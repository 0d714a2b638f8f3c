"""Every kind of bad input through every command that takes notes: said once, and the rest goes through."""

import gzip
import json
from pathlib import Path

import pytest
from commands import Ran, plexor

GOOD = "Ankle jerk absent on the left, knee jerks 2+."
BAD: dict[str, tuple[bytes, str]] = {
    "empty.txt": (b"", "error {}: The file is empty."),
    "picture.txt": (b"\x89PNG\r\n\x1a\n\x00\x00", "error {}: The file is not text (it looks like a picture)"),
    "broken.jsonl": (b'{"id": "x"\n', "error {}:1: The line is not JSON"),
    "list.jsonl": (b'{"id": "y", "text": "KJ 2+"}\n[1]\n', "error {}:2: The line is JSON, but not an object"),
    "silent.jsonl": (b'{"id": "x"}\n', "error {}:1: The line has no text in the field text."),
    "short.csv": (b"id,text,author\nx,KJ 2+\n", "error {}:2: The row has 2 of the header's 3 columns"),
    "quotes.csv": (b'id,text\nx,"KJ 2+\n', "error {}:2: A quotation mark in this row is not closed"),
    "unnamed.csv": (b"number,note\nx,KJ 2+\n", "error {}:1: The header has no column text"),
    "cut.txt.gz": (gzip.compress(b"KJ 2+" * 99, mtime=0)[:-9], "error {}: The compressed file is cut off"),
    "letter.docx": (b"PK\x03\x04\x00", "error {}: The zip archive is cut off or damaged"),
    "odd.csv": (
        b"id,text,authored\nz,KJ 2+,2023-02-30\n",
        "warning {}:2: The authored '2023-02-30' is not a date",
    ),
    "western.txt": ("Réflexes présents".encode("cp1252"), "warning {}: A character on line 1 is not UTF-8"),
    "good.csv": (f'id,text\ng1,"{GOOD}"\n'.encode(), ""),
    "twin.csv": (b'id,text\ng1,"Knee jerks 3+."\n', "error {}:2: Another note is also called g1"),
    "copy.csv": (f'id,text\ng1,"{GOOD}"\n'.encode(), "warning {}:2: Note g1 was already read"),
}
NOTES = {"g1", "g1#2", "y", "z", "western"}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("bad")
    for number, (name, (content, _)) in enumerate(BAD.items()):
        (made / f"{number:02}").mkdir()
        (made / f"{number:02}" / name).write_bytes(content)
    return made


def said_as_it_should(ran: Ran, folder: Path) -> None:
    assert ran.status == 1
    assert "Traceback" not in ran.err
    for number, (name, (_, start)) in enumerate(BAD.items()):
        place = (folder / f"{number:02}" / name).as_posix()
        lines = [line for line in ran.err.splitlines() if place in line and "no-note-system" not in line]
        lines = [line for line in lines if "(no-patient)" not in line]
        assert len(lines) == bool(start), lines
        assert all(
            start.format(place) in line.replace(f"{place}:1: A char", f"{place}: A char") for line in lines
        )


def test_read(folder: Path) -> None:
    ran = plexor("read", folder, "--format", "jsonl")
    said_as_it_should(ran, folder)
    assert {json.loads(line)["id"] for line in ran.out.splitlines()} == NOTES


def test_summary(folder: Path) -> None:
    ran = plexor("summary", folder, "--format", "jsonl")
    said_as_it_should(ran, folder)
    assert "g1" in {json.loads(line)["id"] for line in ran.out.splitlines()}


def test_convert(folder: Path, tmp_path: Path) -> None:
    said_as_it_should(plexor("convert", folder, "--out", tmp_path / "fhir", "--as", "ndjson"), folder)
    documents = (tmp_path / "fhir" / "DocumentReference.ndjson").read_text(encoding="utf-8").splitlines()
    assert {json.loads(line)["masterIdentifier"]["value"] for line in documents} == NOTES
    assert plexor("check", tmp_path / "fhir").status == 0


def test_load(folder: Path, tmp_path: Path) -> None:
    ran = plexor("load", folder, "--archive", tmp_path / "a.duckdb", "--format", "jsonl")
    said_as_it_should(ran, folder)
    totals = json.loads(ran.out)
    assert totals["with_findings"] + totals["without_findings"] == len(NOTES)
    assert totals["failed"] == sum(start.startswith("error") for _, start in BAD.values()) - 1  # g1#2 goes on
