"""The engine that spreads work over worker processes, and gives the results in the order of the notes.

Batches go to whichever worker is free; no more of them are under way than the workers need, so memory does
not grow with the stream. A worker that dies is told of and replaced, and its batch is done again. A note on
which two workers died is left undone, alone.
"""

import os
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from types import TracebackType
from typing import Any, Generic, Self, TypeVar

from converter.engines.batching import CHARACTERS, NOTES, Batch, batches
from converter.engines.engine import Account, Done, EngineError, Work
from converter.engines.faults import note_stops_workers, worker_died
from converter.engines.single import SingleProcess
from converter.engines.worker import Worker, start_worker
from converter.model import Diagnostic, Note

T = TypeVar("T")
P = TypeVar("P")

_AHEAD = 6
"""Batches under way for each worker, so that one slow batch does not keep the others waiting."""
_NOTES = 100
"""Notes of a batch: few enough that the workers end at about the same time."""
_PATIENCE = 2.0
"""Seconds that workers are given to end."""
_MOST_DEATHS = 2
"""Workers that may die on one note."""
_EARLY_DEATHS = 5
"""Workers that may die in a row before they have begun a note."""


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


class WorkerProcesses(Generic[T]):
    """Spreads work over processes; a stream of a few notes is done here, since starting them costs more."""

    def __init__(
        self, work: Work[T], workers: int, tell: Callable[[Diagnostic], None], *, few: int = NOTES
    ) -> None:
        """Take the work; nothing is started yet.

        Args:
            work: what is done to every note.
            workers: how many processes.
            tell: called with a warning for each worker that dies.
            few: as many notes, of ordinary length, are done in this process.
        """
        self.account = Account()
        self._work = work
        self._count = workers
        self._tell = tell
        self._few = few
        self._workers: list[Worker] = []
        self._context: Any = None
        self._looked = False
        self._early_deaths = 0

    def prepared(self, items: Iterable[Note | P]) -> Iterator[Note | P]:
        """See `Engine.prepared`: looks at the first notes, and starts the workers where there are many."""
        if self._looked:
            return iter(items)
        self._looked = True
        stream, first, notes, characters = iter(items), [], 0, 0
        for item in stream:
            first.append(item)
            if isinstance(item, Note):
                notes, characters = notes + 1, characters + len(item.text)
            if notes > self._few or characters > CHARACTERS:
                self._start_all()
                break
        return chain(first, stream)

    def run(self, items: Iterable[Note | P]) -> Iterator[Done[T] | P]:
        """See `Engine.run`."""
        items = self.prepared(items)
        if not self._workers:
            single = SingleProcess(self._work)
            single.account = self.account
            yield from single.run(items)
            return
        coming = batches(items, _NOTES)
        waiting: deque[Batch[T]] = deque()
        to_send: deque[Batch[T]] = deque()
        exhausted = False
        while not exhausted or waiting:
            while not exhausted and len(waiting) < _AHEAD * self._count:
                batch = next(coming, None)
                if batch is None:
                    exhausted = True
                    break
                self.account.notes += len(batch.notes)
                waiting.append(batch)
                to_send.append(batch)
                self._hand_out(to_send)
                if self._collect(to_send, timeout=0):
                    self._hand_out(to_send)
            while waiting and waiting[0].finished:
                yield from self._outcome(waiting.popleft())
            if waiting and not waiting[0].finished:
                self._hand_out(to_send)
                self._collect(to_send, timeout=None)
                self._hand_out(to_send)

    def _outcome(self, batch: Batch[T]) -> Iterator[Any]:
        for item, done in batch.outcome(self._work):
            if done is not None:
                self.account.done += done
                self.account.failed += not done
            yield item

    def _hand_out(self, to_send: deque[Batch[T]]) -> None:
        """Give waiting batches to the workers that hold fewest."""
        while to_send:
            worker = min(self._workers, key=lambda one: len(one.held))
            if not worker.takes_more:
                return
            batch = to_send.popleft()
            if batch.finished:
                continue
            try:
                worker.send(batch)
            except OSError:
                self._bury(worker, to_send)

    def _collect(self, to_send: deque[Batch[T]], timeout: float | None) -> bool:
        """Take what busy workers have to give; whether there was anything."""
        from multiprocessing.connection import wait

        busy = {worker.connection: worker for worker in self._workers if worker.held}
        ready = wait(list(busy), timeout) if busy else []
        for connection in ready:
            worker = busy[connection]  # type: ignore[index]
            try:
                worker.receive()
                self._early_deaths = 0
            except (EOFError, OSError):
                self._bury(worker, to_send)
        return bool(ready)

    def _bury(self, worker: Worker, to_send: deque[Batch[T]]) -> None:
        """Replace a worker that died, and see to what it worked on."""
        worker.receive_the_rest()
        worker.end(_PATIENCE)
        self._workers.remove(worker)
        self.account.lost += 1
        batch, index = worker.held[0] if worker.held else None, worker.note_at_death()
        cause = worker.process.exitcode
        note = batch.notes[index] if batch is not None and index is not None else None
        self._tell(worker_died(note, cause))
        self._early_deaths = self._early_deaths + 1 if note is None else 0
        if self._early_deaths > _EARLY_DEATHS:
            raise EngineError("worker processes end as soon as they are started; try --workers 1")
        if batch is not None:
            if index is not None:
                batch.deaths[index] += 1
                if batch.deaths[index] == _MOST_DEATHS:
                    batch.results[index] = note_stops_workers(batch.notes[index], cause)
            self.account.retried += 1
            to_send.extendleft(reversed(worker.held))
        self._start()

    def _start_all(self) -> None:
        from multiprocessing import get_context

        self._context = get_context("fork" if sys.platform == "linux" else "spawn")
        for _ in range(self._count):
            self._start()

    def _start(self) -> None:
        self._workers.append(start_worker(self._context, self._work, self._workers))

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """End every worker, whatever it does."""
        for worker in self._workers:
            worker.connection.close()
            if kind is not None:
                worker.process.terminate()
        for worker in self._workers:
            worker.end(_PATIENCE)
        self._workers.clear()
