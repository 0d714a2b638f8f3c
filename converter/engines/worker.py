"""One worker process, seen from both sides: what runs in it, and how the engine holds it.

Messages are pickled by hand: a batch goes in as (indices, notes), and comes out as (index, done, result) for
each note, or as the kind of error that the work raised. A worker takes in the next batch while it works on
one, so that it need not wait for it.
"""

import gc
import pickle
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from converter.collector import seldom_collect
from converter.engines.batching import Batch
from converter.engines.engine import Work
from converter.engines.faults import work_failed
from converter.engines.packing import note_of, row_of
from converter.model import Note

if TYPE_CHECKING:
    from multiprocessing.connection import Connection
    from multiprocessing.context import BaseContext
    from multiprocessing.process import BaseProcess

_NOT_BEGUN = -1
_TURN = 1 << 32
"""A place is the number of the batch, times this, and the index of the note in it."""
_HELD = 2


@dataclass(slots=True, eq=False)
class Worker:
    """A worker process as the engine holds it.

    Attributes:
        process: the process.
        connection: messages to and from it.
        place: shared with it: which note it works on.
        held: the batches that it was given and has not given back; it works on the first.
        turn: how many batches it has given back.
    """

    process: "BaseProcess"
    connection: "Connection"
    place: Any
    held: deque[Batch[Any]] = field(default_factory=deque)
    turn: int = 0

    @property
    def takes_more(self) -> bool:
        """Whether it should be given a further batch."""
        return len(self.held) < _HELD

    def send(self, batch: Batch[Any]) -> None:
        """Give it a batch.

        Raises:
            OSError: it is gone.
        """
        self.held.append(batch)
        indices = batch.to_do()
        rows = [row_of(batch.notes[index]) for index in indices]
        self.connection.send_bytes(pickle.dumps((indices, rows), pickle.HIGHEST_PROTOCOL))

    def receive(self) -> None:
        """Put the results of its first batch into the batch.

        Raises:
            EOFError, OSError: it is gone.
        """
        results = pickle.loads(self.connection.recv_bytes())  # noqa: S301 - from our own process
        batch = self.held.popleft()
        self.turn += 1
        for index, done, result in results:
            batch.results[index] = result if done else work_failed(batch.notes[index], result)

    def receive_the_rest(self) -> None:
        """Take what it had given back before it died."""
        try:
            while self.held and self.connection.poll():
                self.receive()
        except (EOFError, OSError):
            return

    def note_at_death(self) -> int | None:
        """Index, in its first batch, of the note that it worked on; None where it had begun none of that."""
        turn, index = divmod(int(self.place.value), _TURN)
        return index if turn == self.turn else None

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


def _serve(connection: "Connection", work: Work[Any], place: Any, inherited: "Sequence[Connection]") -> None:
    """Do batches until the engine lets go of its end, or is gone."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the engine is told, and ends its workers
    for other in inherited:
        other.close()
    gc.freeze()
    seldom_collect()
    function = work.open()
    for turn, message in enumerate(_arriving(connection)):
        indices, rows = pickle.loads(message)  # noqa: S301 - from our own process
        results = []
        for index, row in zip(indices, rows, strict=True):
            place.value = turn * _TURN + index
            results.append((index, *_done(function, note_of(row))))
        try:
            connection.send_bytes(pickle.dumps(results, pickle.HIGHEST_PROTOCOL))
        except OSError:
            return


def _arriving(connection: "Connection") -> Iterator[bytes]:
    """Messages, taken in by a thread as they come, so that neither side waits for the other to read."""
    from queue import SimpleQueue
    from threading import Thread

    arrived: SimpleQueue[bytes | None] = SimpleQueue()

    def take_in() -> None:
        try:
            while True:
                arrived.put(connection.recv_bytes())
        except (EOFError, OSError):
            arrived.put(None)

    Thread(target=take_in, daemon=True, name="plexor-arriving").start()
    while (message := arrived.get()) is not None:
        yield message


def _done(function: Callable[[Note], Any], note: Note) -> tuple[bool, Any]:
    try:
        return True, function(note)
    except Exception as error:
        return False, type(error).__name__
