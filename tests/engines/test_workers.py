"""Worker processes: the same results in the same order, whatever happens to the workers."""

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from threading import Thread

import pytest
from commands import stop_from_keyboard_works

from converter.engines import Done, EngineError, WorkerProcesses, local_engine
from converter.model import Diagnostic, Note
from converter.sources import note_from_text

NOTES = 1000


@dataclass(frozen=True, slots=True)
class Lengths:
    """Gives the length of a note; a note may ask for trouble."""

    folder: str = ""

    def open(self) -> Callable[[Note], str]:
        return self.length_of

    def length_of(self, note: Note) -> str:
        if note.text == "fail":
            raise ValueError("the words of a note")
        if note.text == "die":
            os.kill(os.getpid(), signal.SIGKILL)
        if note.text == "die once":
            mark = Path(self.folder) / "died"
            if not mark.exists():
                mark.touch()
                os.kill(os.getpid(), signal.SIGKILL)
        return str(len(note.text))

    def instead(self, note: Note, fault: Diagnostic) -> str:
        return fault.code


@dataclass(frozen=True, slots=True)
class NeverStarts(Lengths):
    def open(self) -> Callable[[Note], str]:
        os._exit(3)


def notes(special: dict[int, str] | None = None) -> list[Note]:
    special = special or {}
    return [note_from_text(special.get(n, "x" * (n % 50)), f"n{n}") for n in range(NOTES)]


def unexpected(told: Diagnostic) -> None:
    pytest.fail(told.message)


def told_of(engine: WorkerProcesses[str], items: list[Note]) -> list[tuple[str, str]]:
    with engine:
        return [(done.note.id, done.result) for done in engine.run(items) if isinstance(done, Done)]


def test_results_come_in_the_order_of_the_notes() -> None:
    given = told_of(WorkerProcesses(Lengths(), 2, unexpected), notes())
    assert given == [(f"n{n}", str(n % 50)) for n in range(NOTES)]


def test_what_is_no_note_is_passed_through_at_its_place() -> None:
    items = [piece for n, note in enumerate(notes()) for piece in (note, n)]
    with WorkerProcesses(Lengths(), 2, unexpected) as engine:
        given = list(engine.run(items))
    assert given[1::2] == list(range(NOTES))
    assert [one.note.id for one in given[::2] if isinstance(one, Done)] == [f"n{n}" for n in range(NOTES)]


def test_an_error_fails_its_note_alone() -> None:
    engine = WorkerProcesses(Lengths(), 2, unexpected)
    given = told_of(engine, notes({500: "fail"}))
    assert [(name, result) for name, result in given if not result.isdigit()] == [("n500", "note-not-done")]
    assert (engine.account.done, engine.account.failed, engine.account.adds_up) == (NOTES - 1, 1, True)


def test_a_worker_that_dies_is_told_of_and_its_batch_done_again(tmp_path: Path) -> None:
    told: list[Diagnostic] = []
    engine = WorkerProcesses(Lengths(str(tmp_path)), 2, told.append)
    given = told_of(engine, notes({500: "die once"}))
    assert [result for _, result in given][500] == "8"
    assert len(given) == NOTES
    assert [(one.code, "n500" in one.message) for one in told] == [("worker-lost", True)]
    assert (engine.account.lost, engine.account.retried, engine.account.failed) == (1, 1, 0)


def test_a_note_that_two_workers_die_on_fails_alone() -> None:
    told: list[Diagnostic] = []
    engine = WorkerProcesses(Lengths(), 2, told.append)
    given = told_of(engine, notes({3: "die", 700: "die"}))
    failed = [(name, result) for name, result in given if not result.isdigit()]
    assert failed == [("n3", "note-stops-worker"), ("n700", "note-stops-worker")]
    assert [name for name, _ in given] == [f"n{n}" for n in range(NOTES)]
    assert len(told) == engine.account.lost == 4
    assert engine.account.adds_up


def test_every_batch_that_a_dead_worker_held_is_done(tmp_path: Path) -> None:
    """A worker is given the next batch while it works on one; both go to others, each note once."""
    told: list[Diagnostic] = []
    engine = WorkerProcesses(Lengths(str(tmp_path)), 1, told.append)
    given = told_of(engine, notes({250: "die once"}))
    assert [name for name, _ in given] == [f"n{n}" for n in range(NOTES)]
    assert engine.account.lost == engine.account.retried == 1
    assert engine.account.done == NOTES


@dataclass(frozen=True, slots=True)
class Copies(Lengths):
    """Gives back as much as it takes."""

    def open(self) -> Callable[[Note], str]:
        return self.copy_of

    def copy_of(self, note: Note) -> str:
        return note.text


def test_messages_larger_than_what_lies_between_the_processes_stop_nothing() -> None:
    """A megabyte each way at once, where a socket of Linux holds some 200 kB unless a site says otherwise."""
    large = [note_from_text(f"{n}" * 1_000_000, f"n{n}") for n in range(20, 60)]
    engine = WorkerProcesses(Copies(), 2, unexpected, few=1)
    given: list[tuple[str, str]] = []
    run = Thread(target=lambda: given.extend(told_of(engine, large)), daemon=True)
    run.start()
    run.join(60)
    for worker in engine._workers:
        worker.process.kill()  # where they wait for one another
    assert given == [(note.id, note.text) for note in large]


def test_workers_that_cannot_start_end_the_run_with_a_sentence() -> None:
    engine = WorkerProcesses(NeverStarts(), 2, lambda told: None)
    with pytest.raises(EngineError, match="--workers 1"):
        told_of(engine, notes())


def test_a_few_notes_start_no_worker() -> None:
    engine = WorkerProcesses(Lengths(), 2, unexpected)
    with engine:
        assert [one.result for one in engine.run(notes()[:3]) if isinstance(one, Done)] == ["0", "1", "2"]
        assert not engine._workers


def test_the_stream_is_read_no_further_ahead_than_the_workers_need() -> None:
    taken = 0

    def stream() -> Iterator[Note]:
        nonlocal taken
        for n in range(50_000):
            taken += 1
            yield note_from_text("x", f"n{n}")

    with WorkerProcesses(Lengths(), 2, unexpected) as engine:
        for number, _ in enumerate(engine.run(stream())):
            assert taken - number <= 2000
            if number == 10_000:
                break


def test_one_worker_or_one_core_works_in_this_process() -> None:
    assert not isinstance(local_engine(Lengths(), 1, unexpected), WorkerProcesses)


PROGRAM = """
import sys, time
from collections.abc import Callable
from converter.engines import WorkerProcesses
from converter.sources import note_from_text

class Slow:
    def open(self): return slow
    def instead(self, note, fault): return fault.code

def slow(note):
    time.sleep(0.01)
    return 1

if __name__ == "__main__":
    with WorkerProcesses(Slow(), 2, print) as engine:
        stream = engine.prepared(note_from_text("x", str(n)) for n in range(100000))
        print(*(worker.process.pid for worker in engine._workers), flush=True)
        for _ in engine.run(stream):
            pass
"""


@pytest.mark.skipif(sys.platform == "win32", reason="signals as on Unix")
@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
def test_no_worker_outlives_the_program(how: signal.Signals, tmp_path: Path) -> None:
    program = tmp_path / "program.py"
    program.write_text(PROGRAM)
    run = subprocess.Popen(
        [sys.executable, str(program)],
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        preexec_fn=stop_from_keyboard_works,
    )
    assert run.stdout is not None
    workers = [int(number) for number in run.stdout.readline().split()]
    assert len(workers) == 2
    time.sleep(0.3)
    run.send_signal(how)
    run.wait(30)
    run.stdout.close()
    for _ in range(100):
        if not any(Path(f"/proc/{worker}").exists() and not _is_dead(worker) for worker in workers):
            return
        time.sleep(0.1)
    pytest.fail("a worker is still there")


def _is_dead(worker: int) -> bool:
    try:
        return Path(f"/proc/{worker}/stat").read_text().rpartition(")")[2].split()[0] in "ZX"
    except OSError:
        return True
