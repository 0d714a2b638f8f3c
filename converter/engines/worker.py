"""One worker process, seen from both sides: what runs in it, and how the engine holds it.

Messages are pickled by hand: a batch goes in as (indices, notes), and comes out as (index, done, result) for
each note, or as the kind of error that the work raised.
"""

import gc
import pickle
import signal
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import TYPE_CHECKING, Any

from converter.engines.batching import Batch
from converter.engines.engine import Work
from converter.engines.faults import work_failed
from converter.engines.packing import note_of, row_of
from converter.model import Note

if TYPE_CHECKING:
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

_NOT_BEGUN = -1
_RARELY = 50_000
"""Objects made before the collector looks for cycles; notes and readings hold none."""


@dataclass(slots=True, eq=False)
class Worker:
    """A worker process as the engine holds it.

    Attributes:
        process: the process.
        connection: messages to and from it.
        place: shared with it: the index of the note it works on.
        batch: what it works on, or None.
    """

    process: "BaseProcess"
    connection: Connection
    place: Any
    batch: Batch[Any] | None = None

    def send(self, batch: Batch[Any]) -> None:
        """Give it a batch.

        Raises:
            OSError: it is gone.
        """
        self.batch = batch
        self.place.value = _NOT_BEGUN
        indices = batch.to_do()
        rows = [row_of(batch.notes[index]) for index in indices]
        self.connection.send_bytes(pickle.dumps((indices, rows), pickle.HIGHEST_PROTOCOL))

    def receive(self) -> None:
        """Put the results of its batch into the batch.

        Raises:
            EOFError, OSError: it is gone.
        """
        results = pickle.loads(self.connection.recv_bytes())  # noqa: S301 - from our own process
        batch, self.batch = self.batch, None
        if batch is None:
            return
        for index, done, result in results:
            batch.results[index] = result if done else work_failed(batch.notes[index], result)

    def note_at_death(self) -> int | None:
        """Index of the note that it worked on last, or None where it had begun none."""
        place: int = self.place.value
        return None if place == _NOT_BEGUN else place

    def end(self, wait: float) -> None:
        """End it, kindly first."""
        self.connection.close()
        if self.process.is_alive():
            self.process.terminate()
        self.process.join(wait)
        if self.process.is_alive():
            self.process.kill()
            self.process.join()


def start_worker(context: "BaseContext", work: Work[Any], others: Sequence[Worker]) -> Worker:
    """Start a worker; it lets go of what it inherits of the others."""
    ours, its = context.Pipe()
    place = context.RawValue("q", _NOT_BEGUN)
    inherited = (
        [ours, *(other.connection for other in others)] if context.get_start_method() == "fork" else []
    )
    process = context.Process(  # type: ignore[attr-defined]
        target=_serve, args=(its, work, place, inherited), daemon=True, name="plexor-worker"
    )
    process.start()
    its.close()
    return Worker(process, ours, place)


def _serve(connection: Connection, work: Work[Any], place: Any, inherited: Sequence[Connection]) -> None:
    """Do batches until the engine lets go of its end, or is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the engine is told, and ends its workers
    for other in inherited:
        other.close()
    gc.freeze()
    gc.set_threshold(_RARELY)
    function = work.open()
    try:
        while True:
            indices, rows = pickle.loads(connection.recv_bytes())  # noqa: S301 - from our own process
            results = []
            for index, row in zip(indices, rows, strict=True):
                place.value = index
                results.append((index, *_done(function, note_of(row))))
            connection.send_bytes(pickle.dumps(results, pickle.HIGHEST_PROTOCOL))
    except (EOFError, OSError):
        return


def _done(function: Callable[[Note], Any], note: Note) -> tuple[bool, Any]:
    try:
        return True, function(note)
    except Exception as error:
        return False, type(error).__name__
