"""The engine that has the work done on a Spark cluster, and gives the results in the order of the notes.

Batches go out in waves, one job each, two under way at a time, so memory here does not grow with the stream.
What a task counts is not used: the account is made of the results that arrived, of which there is one for
each note however often a task was done again.
"""

import pickle
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet
from contextlib import ExitStack
from itertools import islice
from types import TracebackType
from typing import TYPE_CHECKING, Any, Generic, Self, TypeVar

from converter.engines.batching import Batch, batches
from converter.engines.cluster_session import connected, reason_of
from converter.engines.cluster_task import Answer, BatchTask, Shared, shared_work
from converter.engines.engine import Account, Done, EngineError, Work
from converter.engines.faults import no_worker_yet, task_done_again
from converter.model import Diagnostic, Note

if TYPE_CHECKING:
    from pyspark import SparkContext

T = TypeVar("T")
P = TypeVar("P")

_EACH = 8
"""Batches in a wave for each core of the cluster."""
_UNDER_WAY = 2
_PATIENCE = 60.0
"""Seconds before it is said that no machine of the cluster has taken up work."""

_Wave = list[Batch[Any]]


class SparkCluster(Generic[T]):
    """Spreads work over the machines of a cluster; plexor must be installed on each, in one version."""

    def __init__(self, work: Work[T], master: str, tell: Callable[[Diagnostic], None]) -> None:
        """Take the work; nothing is started yet.

        Args:
            work: what is done to every note.
            master: the cluster's URL as Spark writes it.
            tell: called with a warning for each attempt at a batch that came to nothing.
        """
        self.account = Account()
        self._work = work
        self._master = master
        self._tell = tell
        self._started = ExitStack()
        self._context: SparkContext | None = None
        self._told_to_wait = False

    def prepared(self, items: Iterable[Note | P]) -> Iterator[Note | P]:
        """The same items: a cluster is reached when there is work for it."""
        return iter(items)

    def run(self, items: Iterable[Note | P]) -> Iterator[Done[T] | P]:
        """See `Engine.run`."""
        coming = batches(items)
        context = self._reached()
        shared = shared_work(context, self._work)
        pool = ThreadPoolExecutor(_UNDER_WAY, "plexor-wave")
        self._started.callback(pool.shutdown, wait=False, cancel_futures=True)
        under_way: deque[tuple[_Wave, Future[list[Answer]]]] = deque()
        while wave := list(islice(coming, _EACH * max(context.defaultParallelism, 1))):
            self.account.notes += sum(len(batch.notes) for batch in wave)
            under_way.append((wave, pool.submit(_job, context, shared, wave)))
            if len(under_way) == _UNDER_WAY:
                yield from self._outcome(*under_way.popleft())
        while under_way:
            yield from self._outcome(*under_way.popleft())

    def _reached(self) -> "SparkContext":
        if self._context is None:
            self._context = self._started.enter_context(connected(self._master)).sparkContext
        return self._context

    def _outcome(self, wave: _Wave, future: "Future[list[Answer]]") -> Iterator[Any]:
        for batch, answer in zip(wave, self._answers(future), strict=True):
            self._take(batch, answer)
            for item, done in batch.outcome(self._work):
                if done is not None:
                    self.account.done += done
                    self.account.failed += not done
                yield item

    def _answers(self, future: "Future[list[Answer]]") -> list[Answer]:
        while True:
            try:
                return future.result(_PATIENCE)
            except NotYet:
                if not self._told_to_wait and not self._has_workers():
                    self._told_to_wait = True
                    self._tell(no_worker_yet(self._master))
            except Exception as error:
                raise EngineError(f"the cluster {self._master} gave up: {reason_of(error)}") from error

    def _has_workers(self) -> bool:
        """Whether any process of the cluster beside this one belongs to the run."""
        return bool(self._reached()._jsc.sc().getExecutorMemoryStatus().size() > 1)

    def _take(self, batch: Batch[Any], answer: Answer) -> None:
        """Put the results of a batch into it, and tell what became of it on the way."""
        if answer.results is None:
            raise EngineError(
                f"a machine of the cluster {self._master} has plexor {answer.version} installed, not the "
                "version that runs here"
            )
        batch.results.update(enumerate(pickle.loads(answer.results)))  # noqa: S301 - from our own process
        if not batch.finished:
            raise EngineError("a task of the cluster gave fewer results than it was given notes")
        if answer.attempts:
            self.account.lost += answer.attempts
            self.account.retried += 1
            self._tell(task_done_again(answer.attempts))
        for one in answer.told:
            self._tell(one)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let go of the cluster, whatever it does."""
        if kind is not None and self._context is not None:
            self._context.cancelAllJobs()
        self._started.close()
        self._context = None


def _job(context: "SparkContext", shared: Shared, wave: _Wave) -> list[Answer]:
    """One job of the cluster, a task for each batch."""
    from converter.engines.packing import packed

    content = [packed(batch.notes) for batch in wave]
    answers: list[Answer] = context.parallelize(content, len(content)).map(BatchTask(shared)).collect()
    return answers
