"""Packed files: zstd, zip archives and what hides in them. Nothing is written or grows without measure."""

import gzip
import io
import struct
import zipfile
from collections.abc import Mapping
from pathlib import Path

import pytest
from note_files import codes, json_lines, only, read, write

from converter.model import Severity
from converter.sources import opening, zipped
from converter.sources.opening import PackedError

RECORDS: list[Mapping[str, object]] = [{"id": f"n{at}", "text": f"KJ {at}+"} for at in range(3)]


def zstd(content: bytes) -> bytes:
    """Content packed as zstd (RFC 8878); skips where no library can."""
    try:
        module = opening._zstd_module()
    except PackedError:
        pytest.skip("neither Python 3.14 nor backports.zstd is here")
    packed: bytes = module.compress(content)
    return packed


def zip_of(members: Mapping[str, str | bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", method) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return buffer.getvalue()


@pytest.mark.parametrize("name", ["a.jsonl.zst", "a.jsonl", "a"])
def test_zstd_is_seen_by_its_content(tmp_path: Path, name: str) -> None:
    notes, troubles = read(write(tmp_path / name, zstd(json_lines(RECORDS).encode())))
    assert ([note.id for note in notes], troubles) == (["n0", "n1", "n2"], [])


def test_the_suffix_inside_the_packing_counts(tmp_path: Path) -> None:
    (note,), _ = read(write(tmp_path / "visit.txt.zst", zstd(b"KJ 2+")))
    assert (note.id, note.text) == ("visit", "KJ 2+")


@pytest.mark.parametrize("keep", [5, 20, 400])
def test_zstd_that_is_cut_off_gives_what_stands_before(tmp_path: Path, keep: int) -> None:
    many = [{"id": f"n{at}", "text": f"KJ {at * 7919}"} for at in range(5000)]
    packed = zstd(json_lines(many).encode())
    notes, troubles = read(write(tmp_path / "a.jsonl", packed[:keep]), write(tmp_path / "good.txt", "KJ 2+"))
    assert notes[-1].id == "good"
    assert codes(troubles)[-1] == "broken-zstd"


def test_a_missing_package_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import importlib

    def missing(name: str) -> None:
        raise ImportError(name)

    monkeypatch.setattr(importlib, "import_module", missing)
    content = b"\x28\xb5\x2f\xfd" + bytes(60)
    notes, troubles = read(write(tmp_path / "a.zst", content), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    assert "backports.zstd" in only(troubles, "needs-package", Severity.ERROR).message


@pytest.mark.parametrize(
    "method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA]
)
@pytest.mark.parametrize("name", ["a.zip", "a"])
def test_members_are_read_in_order_of_name(tmp_path: Path, method: int, name: str) -> None:
    members: dict[str, str | bytes] = {
        "deep/er/b.txt": "AJ 1+",
        "a.jsonl": json_lines(RECORDS),
        "c.csv.gz": gzip.compress(b"id,text\nc,TJ 2+\n"),
        "deep/.hidden": "x",
        "__MACOSX/a.jsonl": "x",
        "empty/": "",
    }
    notes, troubles = read(write(tmp_path / name, zip_of(members, method)))
    assert [note.id for note in notes] == ["n0", "n1", "n2", "c", "b"]
    assert troubles == []
    assert notes[-1].source == f"{(tmp_path / name).as_posix()}/deep/er/b.txt"


def test_members_that_share_a_stem_are_named_by_their_path(tmp_path: Path) -> None:
    members = {"p1/exam.txt": "KJ 2+", "p2/exam.txt": "AJ 1+", "p2/other.txt": "TJ"}
    notes, _ = read(write(tmp_path / "a.zip", zip_of(members)))
    assert [note.id for note in notes] == ["p1/exam.txt", "p2/exam.txt", "other"]


def test_an_archive_in_an_archive_is_read_up_to_a_depth(tmp_path: Path) -> None:
    inner = zip_of({"a.txt": "KJ 2+"})
    for _ in range(2):
        inner = zip_of({"inner.zip": inner})
    (note,), troubles = read(write(tmp_path / "a.zip", inner))
    assert (note.text, troubles) == ("KJ 2+", [])
    deeper = zip_of({"x.zip": zip_of({"y.zip": inner})})
    notes, troubles = read(write(tmp_path / "b.zip", deeper))
    assert notes == []
    only(troubles, "nested-too-deeply", Severity.ERROR)


HOSTILE = [
    "../../outside.txt",
    "/etc/outside.txt",
    "..\\..\\outside.txt",
    "C:\\outside.txt",
    "a\nb.txt",
    "x" * 300 + ".txt",
]


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_names_are_only_names(tmp_path: Path, name: str) -> None:
    folder = tmp_path / "in" / "put"
    file = write(folder / "a.zip", zip_of({name: "KJ 2+"}))
    before = sorted(tmp_path.rglob("*"))
    (note,), _ = read(file)
    assert note.text == "KJ 2+"
    assert sorted(tmp_path.rglob("*")) == before


def test_an_archive_without_files_is_said(tmp_path: Path) -> None:
    _, troubles = read(write(tmp_path / "a.zip", zip_of({})))
    only(troubles, "nothing-found", Severity.ERROR)


@pytest.mark.parametrize("name", ["[Content_Types].xml", "META-INF/manifest.xml"])
def test_an_office_document_is_no_archive_of_notes(tmp_path: Path, name: str) -> None:
    _, troubles = read(write(tmp_path / "a.docx", zip_of({name: "<x/>", "word/document.xml": "<x/>"})))
    assert "office" in only(troubles, "binary-file", Severity.ERROR).message


def test_a_damaged_member_is_said_and_the_others_are_read(tmp_path: Path) -> None:
    content = bytearray(
        zip_of({"a.txt": "KJ 2+", "b.txt": "AJ 1+" * 100, "c.txt": "TJ 2+"}, zipfile.ZIP_STORED)
    )
    at = content.index(b"AJ 1+")
    content[at : at + 5] = b"XX 9+"
    notes, troubles = read(write(tmp_path / "a.zip", bytes(content)))
    assert [note.id for note in notes if note.id != "b"] == ["a", "c"]
    assert (only(troubles, "broken-zip", Severity.ERROR).source or "").endswith("/b.txt")


@pytest.mark.parametrize("keep", [4, 30, -10])
def test_an_archive_that_is_cut_off(tmp_path: Path, keep: int) -> None:
    content = zip_of({"a.txt": "KJ 2+", "b.txt": "AJ 1+"})[:keep]
    notes, troubles = read(write(tmp_path / "a.zip", content), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    only(troubles, "broken-zip", Severity.ERROR)


def test_an_encrypted_member_is_said(tmp_path: Path) -> None:
    content = bytearray(zip_of({"a.txt": "KJ 2+", "b.txt": "AJ 1+"}, zipfile.ZIP_STORED))
    header = content.index(
        b"PK\x01\x02"
    )  # the first entry of the central directory; its flags stand 8 bytes on
    content[header + 8] |= 1
    content[6] |= 1
    notes, troubles = read(write(tmp_path / "a.zip", bytes(content)))
    assert [note.id for note in notes] == ["b"]
    assert (only(troubles, "encrypted", Severity.ERROR).source or "").endswith("/a.txt")


def test_a_bomb_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ninety megabytes shrink a thousandfold; the floor is set down to show that it holds."""
    for module in (opening, zipped):
        monkeypatch.setattr(module, "FLOOR", 1_000_000)
    line = json_lines([{"id": "n", "text": "KJ 2+"}]).encode()
    bomb = line + b"0" * 90_000_000
    for name, content in (
        ("a.jsonl.gz", gzip.compress(bomb)),
        ("a.zip", zip_of({"a.jsonl": bomb})),
        ("b.zip", zip_of({"a.jsonl": line, "b.zip": zip_of({"a.jsonl": bomb})})),
    ):
        path = tmp_path / name
        path.write_bytes(content)
        notes, troubles = read(path)
        assert [note.id for note in notes] == ["n"]
        assert codes(troubles)[-1] == "unpacks-too-large", name


def test_a_zstd_bomb_is_stopped(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(opening, "FLOOR", 1_000_000)
    _, troubles = read(write(tmp_path / "a.jsonl", zstd(b'{"id": "n", "text": "0"}\n' + b"0" * 90_000_000)))
    assert codes(troubles)[-1] == "unpacks-too-large"


def test_members_that_overlap_are_refused(tmp_path: Path) -> None:
    """Many entries of the central directory point at one stretch of data: the bomb without recursion."""
    content = zip_of({"a.txt": b"0" * 1_000_000})
    end = content.rindex(b"PK\x05\x06")
    start = content.index(b"PK\x01\x02")
    entry = content[start:end]
    entries = b"".join(entry.replace(b"a.txt", f"{at:05}".encode()) for at in range(500))
    tail = bytearray(content[end:])
    tail[8:20] = struct.pack("<HHII", 500, 500, len(entries), start)
    notes, troubles = read(write(tmp_path / "a.zip", content[:start] + entries + bytes(tail)))
    assert notes == []
    assert {trouble.code for trouble in troubles} <= {"unpacks-too-large", "broken-zip"}


def test_members_together_have_a_budget(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(zipped, "FLOOR", 100)
    budget = zipped._Budget(1)
    budget.take(100)
    with pytest.raises(PackedError):
        budget.take(200)


def test_an_archive_on_standard_input(monkeypatch: pytest.MonkeyPatch) -> None:
    import sys

    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(zip_of({"a.txt": "KJ 2+"}))))
    (note,), troubles = read("-")
    assert (note.text, note.source, troubles) == ("KJ 2+", "standard input/a.txt", [])
