"""Killed at any moment, the archive stays usable, and the next load ends with exactly the same content."""

import random
import subprocess
import sys
import time
from pathlib import Path

import pytest
from archive_loader import many_items, vocabulary_named
from archive_notes import VOCABULARY, content, load_all

from converter.archive import FindQuery, count, open_archive

LOADER = Path(__file__).parent / "archive_loader.py"
NOTES, BATCH = 600, 25


def start(path: Path, *more: str, vocabulary: str = VOCABULARY.fingerprint) -> subprocess.Popen[str]:
    root = LOADER.parent.parent.parent
    return subprocess.Popen(
        [sys.executable, str(LOADER), str(path), str(NOTES), str(BATCH), vocabulary, *more],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": str(root)},
    )


def killed(loader: subprocess.Popen[str], batches: int, wait: float) -> bool:
    """Kill a loader some time after some batches; whether it was still at work."""
    with loader:
        assert loader.stdout
        assert loader.stderr
        for _ in range(batches):
            assert loader.stdout.readline(), loader.stderr.read()
        time.sleep(wait)
        loader.kill()
    return loader.returncode == -9


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[tuple[object, ...]]]:
    with open_archive(tmp_path_factory.mktemp("undisturbed") / "a.duckdb") as archive:
        load_all(archive, many_items(NOTES), batch_notes=BATCH)
        return content(archive)


@pytest.mark.parametrize("seed", range(4))
def test_killed_at_a_random_moment_and_resumed_equals_undisturbed(
    tmp_path: Path, seed: int, undisturbed: dict[str, list[tuple[object, ...]]]
) -> None:
    path = tmp_path / "a.duckdb"
    moment = random.Random(seed)
    kills = 0
    for _ in range(3):
        kills += killed(start(path), batches=moment.randrange(1, 7), wait=moment.random() * 0.05)
        with open_archive(path) as archive:
            stored = archive.connection.execute("SELECT count(*) FROM note_log").fetchall()[0][0]
            told = archive.connection.execute("SELECT sum(notes_in) FROM runs").fetchall()[0][0]
            assert stored == told
            assert next(count(archive, FindQuery())).rows > 0
    assert kills, "no load was caught under way"
    with open_archive(path) as archive:
        totals = load_all(archive, many_items(NOTES), "last", batch_notes=BATCH)
        assert totals.adds_up
        assert totals.duplicate > 0
        assert content(archive) == undisturbed
        unfinished = archive.connection.execute("SELECT count(*) FROM runs WHERE finished IS NULL").fetchall()
        assert unfinished == [(kills,)]


def test_killed_while_readings_are_superseded_and_resumed_equals_undisturbed(tmp_path: Path) -> None:
    newer = vocabulary_named("newer")
    held = []
    for name in ("undisturbed", "killed"):
        path = tmp_path / f"{name}.duckdb"
        with open_archive(path) as archive:
            load_all(archive, many_items(NOTES), batch_notes=BATCH)
        if name == "killed":
            assert killed(start(path, vocabulary="newer"), batches=4, wait=0.01)
        with open_archive(path) as archive:
            load_all(archive, many_items(NOTES, newer), "last", newer, batch_notes=BATCH)
            current = archive.connection.execute("SELECT DISTINCT vocabulary FROM current_notes").fetchall()
            assert current == [("newer",)]
            held.append(content(archive))
    assert held[0] == held[1]


def test_killed_while_the_file_is_made_leaves_no_half_archive(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    for wait in (0.1, 0.2, 0.3, 0.4, 0.5):
        killed(start(path), batches=0, wait=wait)
    with open_archive(path) as archive:
        load_all(archive, many_items(20))


def test_a_second_writer_gets_one_clear_sentence(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    with start(path, "hold") as first, start_after(first, path) as second:
        out, complaint = second.communicate(timeout=60)
        assert (second.returncode, out) == (1, "")
        holder = f"another program (process {first.pid}) has the archive open"
        assert complaint.strip() == f"{path}: {holder}; try again for writing when it is done."
        first.kill()


def start_after(first: subprocess.Popen[str], path: Path) -> subprocess.Popen[str]:
    """Start a second loader once the first has stored a batch."""
    assert first.stdout
    assert first.stderr
    assert first.stdout.readline(), first.stderr.read()
    return start(path)
