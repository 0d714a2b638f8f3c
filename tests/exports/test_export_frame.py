"""The frame of an export: whole patients in a part, counts, checksums, no half-written folder, going on."""

import gzip
import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from export_samples import (
    COMMON,
    StoppedError,
    Tidy,
    content,
    exported,
    from_list,
    many,
    read,
    rows,
)

from converter.exports import ExportError, Writer, export
from converter.exports.places import Places, claimed
from converter.exports.writer import Written
from converter.model import Diagnostic, Severity


def test_counts_and_checksums_of_the_manifest_hold(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    manifest = json.loads((tmp_path / "out/manifest.json").read_text())
    assert manifest["counts"] == {
        "notes": 22,
        "notes_written": 20,
        "notes_left_out": {"no-patient": 2},
        "findings": 21,  # 20 notes with 0, 1, 2, 0, 1, 2 ... findings make 19; the other two have one each
        "remarks": {},
    }
    assert manifest["caution"] == "Take care."
    assert (manifest["program"], manifest["vocabulary"]) == ("plexor 0.0.0", "v1")
    assert manifest["read_with"] == [{"program": "plexor 0.0.0", "vocabulary": "v1", "notes": 22}]
    assert manifest["seen"] == 20
    names = {one["name"] for one in manifest["files"]}
    assert names == content(tmp_path / "out").keys() - {"manifest.json"}


def test_checksums_are_those_of_a_tool_that_knows_nothing_of_us(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    manifest = json.loads((tmp_path / "out/manifest.json").read_text())
    listed = "".join(f"{one['sha256']}  {one['name']}\n" for one in manifest["files"])
    done = subprocess.run(
        ["sha256sum", "--check", "--strict"],
        input=listed,
        text=True,
        cwd=tmp_path / "out",
        capture_output=True,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    sizes = {one["name"]: one["bytes"] for one in manifest["files"]}
    assert sizes == {name: len(data) for name, data in content(tmp_path / "out").items() if name in sizes}


def test_rows_are_counted_and_a_header_is_none(tmp_path: Path) -> None:
    manifest = exported(tmp_path / "out")
    counted = {one.name: one.rows for one in manifest.files}
    assert counted["notes.csv"] == 20 == len(rows(content(tmp_path / "out")["notes.csv"]))
    assert counted["ids.txt.gz"] == 20
    assert counted["left-out.csv"] == 2


def test_a_part_holds_whole_patients(tmp_path: Path) -> None:
    exported(tmp_path / "out", notes=many(20, of_a_patient=3))
    parts = [
        data.decode().split() for name, data in content(tmp_path / "out").items() if name.startswith("parts/")
    ]
    assert [len(part) for part in parts] == [6, 6, 6, 2]  # at least 4 notes, and 3 a patient
    patients = [{int(name[1:]) // 3 for name in part} for part in parts]
    assert sum(map(len, patients)) == len(set.union(*patients))


def test_notes_left_out_are_listed_with_the_reason(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    assert rows(content(tmp_path / "out")["left-out.csv"]) == [
        {"system": "urn:example:notes", "id": "x1", "reason": "no-patient"},
        {"system": "urn:example:notes", "id": "x2", "reason": "no-patient"},
    ]


def test_the_same_twice_gives_the_same_bytes(tmp_path: Path) -> None:
    exported(tmp_path / "a")
    exported(tmp_path / "b")
    assert content(tmp_path / "a") == content(tmp_path / "b")


def test_gzip_carries_neither_time_nor_name(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    packed = content(tmp_path / "out")["ids.txt.gz"]
    assert packed[3] == 0, "flags: no name (RFC 1952, 2.3)"
    assert packed[4:8] == b"\0\0\0\0", "no time (RFC 1952, 2.3.1)"
    assert gzip.decompress(packed).decode().split() == [f"n{at:03}" for at in range(20)]


@pytest.mark.parametrize("stop_at", ["n000", "n005", "n006", "n013", "n019"])
def test_an_interrupted_export_goes_on_to_the_same_bytes(tmp_path: Path, stop_at: str) -> None:
    exported(tmp_path / "whole")
    with pytest.raises(StoppedError):
        exported(tmp_path / "out", Tidy(stop_at=stop_at))
    assert not (tmp_path / "out").exists()
    later = replace(COMMON, made="2031-06-01T00:00:00Z")
    manifest = exported(tmp_path / "out", common=later if int(stop_at[1:]) >= 6 else COMMON)
    assert manifest.resumed_after == int(stop_at[1:]) // 6 * 6
    assert content(tmp_path / "out") == content(tmp_path / "whole")
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []


def test_what_was_half_written_after_the_last_part_is_cut_away(tmp_path: Path) -> None:
    exported(tmp_path / "whole")
    with pytest.raises(StoppedError):
        exported(tmp_path / "out", Tidy(stop_at="n013"))
    partial = tmp_path / ".out.partial"
    with (partial / "notes.csv").open("a") as file:
        file.write("half a li")
    (partial / "parts/9999.txt").write_text("of a part that was not finished")
    with (partial / "journal.jsonl").open("a") as file:
        file.write('{"part": 3, "no')
    assert exported(tmp_path / "out").resumed_after == 12
    assert content(tmp_path / "out") == content(tmp_path / "whole")


@pytest.mark.parametrize("what", ["state", "filters", "choice", "vocabulary"])
def test_an_interrupted_export_of_something_else_is_begun_anew(tmp_path: Path, what: str) -> None:
    with pytest.raises(StoppedError):
        exported(tmp_path / "out", Tidy(stop_at="n013"))
    changes = {"state": "s2", "filters": {"patient": ["p1"]}, "vocabulary": "v2"}
    common = replace(COMMON, **({what: changes[what]} if what in changes else {}))  # type: ignore[arg-type]
    target = Tidy(choice="b" if what == "choice" else "a")
    assert exported(tmp_path / "out", target, common=common).resumed_after == 0
    exported(tmp_path / "whole", target, common=common)
    assert content(tmp_path / "out") == content(tmp_path / "whole")


def test_a_damaged_partial_export_is_begun_anew(tmp_path: Path) -> None:
    with pytest.raises(StoppedError):
        exported(tmp_path / "out", Tidy(stop_at="n013"))
    (tmp_path / ".out.partial/notes.csv").write_text("")
    assert exported(tmp_path / "out").resumed_after == 0


def test_an_export_is_not_overwritten_without_force(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    before = content(tmp_path / "out")
    with pytest.raises(ExportError, match="is there already; --force"):
        exported(tmp_path / "out", notes=many(3))
    assert content(tmp_path / "out") == before
    exported(tmp_path / "out", notes=many(3), force=True)
    assert len(rows(content(tmp_path / "out")["notes.csv"])) == 3


def test_a_forced_export_that_fails_leaves_the_earlier_one(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    before = content(tmp_path / "out")
    with pytest.raises(StoppedError):
        exported(tmp_path / "out", Tidy(stop_at="n013"), force=True)
    assert content(tmp_path / "out") == before


def test_force_replaces_nothing_that_is_no_export(tmp_path: Path) -> None:
    (tmp_path / "home").mkdir()
    (tmp_path / "home/thesis.txt").write_text("years of work")
    with pytest.raises(ExportError, match="is no export"):
        exported(tmp_path / "home", force=True)
    exported(tmp_path / "out")
    (tmp_path / "out/remarks.txt").write_text("what I think of it")
    with pytest.raises(ExportError, match=r"holds remarks\.txt"):
        exported(tmp_path / "out", force=True)
    assert (tmp_path / "home/thesis.txt").exists()
    assert (tmp_path / "out/remarks.txt").exists()


def test_an_empty_folder_may_be_used(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    exported(tmp_path / "out")
    assert (tmp_path / "out/manifest.json").exists()


def test_a_run_that_died_between_the_two_changes_of_names_is_mended(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    (tmp_path / "out").rename(tmp_path / ".out.old")
    with pytest.raises(ExportError, match="is there already"):
        exported(tmp_path / "out")
    assert (tmp_path / "out/manifest.json").exists()


def test_no_notes_make_an_export_too(tmp_path: Path) -> None:
    manifest = exported(tmp_path / "out", notes=[])
    assert (manifest.notes, manifest.written) == (0, 0)
    assert {one.name for one in manifest.files} == {"end.txt"}


def test_two_programs_do_not_make_one_export(tmp_path: Path) -> None:
    with claimed(Places.of(tmp_path / "out")), pytest.raises(ExportError, match="another program"):
        exported(tmp_path / "out")


@pytest.mark.parametrize("name", ["../out.txt", "/etc/x", "a/../../b", "", "a\\b"])
def test_no_file_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    writer = Writer(tmp_path, Written(), lambda _, __: None)
    with pytest.raises(ExportError, match="no name of a file"):
        writer.open_text(name)
    assert list(tmp_path.iterdir()) == []


def test_the_folder_is_for_its_owner_alone(tmp_path: Path) -> None:
    exported(tmp_path / "out")
    assert (tmp_path / "out").stat().st_mode & 0o077 == 0


def test_what_is_doubtful_is_counted_and_told(tmp_path: Path) -> None:
    told: list[str] = []

    class Doubting(Tidy):
        def write(self, reads, writer):  # type: ignore[no-untyped-def]
            for note, _, _ in reads:
                writer.tell(Diagnostic(code="odd", severity=Severity.WARNING, message="Odd."), note)

    notes = [read("n1", "p1"), read("n2", "p1")]
    manifest = exported(tmp_path / "out", Doubting(), notes, tell=lambda doubt, _: told.append(doubt.code))
    assert manifest.remarks == {"odd": 2}
    assert told == ["odd", "odd"]


def test_a_target_that_forgets_notes_is_found_out(tmp_path: Path) -> None:
    class Lazy(Tidy):
        def write(self, reads, writer):  # type: ignore[no-untyped-def]
            next(reads)

    with pytest.raises(ExportError, match="did not take all notes"):
        exported(tmp_path / "out", Lazy())
    assert not (tmp_path / "out").exists()


_PROGRAM = """
import os, signal, sys
sys.path[:0] = [{tests!r}]
from pathlib import Path
from export_samples import COMMON, Tidy, from_list, many
from converter.exports import export

class Killed(Tidy):
    def write(self, reads, writer):
        super().write(reads, writer)
        if writer.part == {part}:
            os.kill(os.getpid(), signal.SIGKILL)

export(Killed() if {part} else Tidy(), from_list(many(20)), Path({out!r}), COMMON, part_notes=4)
"""


@pytest.mark.parametrize("part", [1, 2, 4])
def test_a_killed_export_goes_on_to_the_same_bytes(tmp_path: Path, part: int) -> None:
    exported(tmp_path / "whole")
    out, tests = str(tmp_path / "out"), str(Path(__file__).parent)
    program = _PROGRAM.format(part=part, out=out, tests=tests)
    done = subprocess.run([sys.executable, "-c", program], env={**os.environ}, capture_output=True)
    assert done.returncode == -signal.SIGKILL, done.stderr.decode()
    assert not (tmp_path / "out").exists()
    manifest = export(Tidy(), from_list(many(20)), tmp_path / "out", COMMON, part_notes=4)
    assert manifest.resumed_after == (part - 1) * 6
    assert content(tmp_path / "out") == content(tmp_path / "whole")
