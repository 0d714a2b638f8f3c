"""What runs in the tasks of a cluster: a work is opened once a process, and done by an engine of one machine.

The first attempt at a task does the work in the task's own process. Where that ended before the task was
done, the next attempt has it done in a process beside, so that a note which ends processes is left undone
alone. Results are the same either way.
"""

import gc
import hashlib
import pickle
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

from converter.collector import seldom_collect
from converter.engines.engine import Done, Engine, Work
from converter.engines.packing import unpacked
from converter.engines.single import SingleProcess
from converter.engines.workers import WorkerProcesses
from converter.model import Diagnostic, Note

if TYPE_CHECKING:
    from pyspark import Broadcast, SparkContext


@dataclass(frozen=True, slots=True)
class Shared:
    """A work as every task of a run has it.

    Attributes:
        key: tells works apart.
        version: of the program that sends it.
        content: the pickled work, which the cluster brings to each of its machines once.
    """

    key: str
    version: str
    content: "Broadcast[bytes]" = field(compare=False)


class Answer(NamedTuple):
    """What a task says about a batch of notes.

    Attributes:
        attempts: how many attempts before this one came to nothing.
        version: of the program that did it.
        results: the results pickled, a Diagnostic where the work could not be done; None where the version of
            the program is another one.
        told: warnings on the way.
    """

    attempts: int
    version: str
    results: bytes | None
    told: tuple[Diagnostic, ...]


@dataclass(frozen=True, slots=True)
class BatchTask:
    """Does a batch of packed notes."""

    shared: Shared

    def __call__(self, batch: bytes) -> Answer:
        """The answer to a batch."""
        here, attempts = installed_version(), _attempts()
        if here != self.shared.version:
            return Answer(attempts, here, None, ())
        told: list[Diagnostic] = []
        work = replace(opened(self.shared), plain=True)
        with engine_in_task(work, told.append) as engine:
            results = [one.result for one in engine.run(unpacked(batch)) if isinstance(one, Done)]
        return Answer(attempts, here, pickle.dumps(results, pickle.HIGHEST_PROTOCOL), tuple(told))


def shared_work(context: "SparkContext", work: Work[Any]) -> Shared:
    """Hand a work to the cluster; it goes to each of its machines once."""
    content = pickle.dumps(work, pickle.HIGHEST_PROTOCOL)
    return Shared(hashlib.sha256(content).hexdigest(), installed_version(), context.broadcast(content))


def engine_in_task(work: "Opened", tell: Callable[[Diagnostic], None]) -> Engine[Any]:
    """The engine that does a work in a task; see the head of this module.

    Args:
        work: the work, as `opened` gives it.
        tell: called with a warning for each process that a note ends.
    """
    return SingleProcess(work) if _attempts() == 0 else WorkerProcesses(work, 1, tell, few=0)


@lru_cache(maxsize=1)
def installed_version() -> str:
    """The version of the program that is installed here."""
    from importlib.metadata import version

    return version("plexor")


@dataclass(frozen=True, slots=True)
class Opened:
    """A work that is open already.

    Attributes:
        work: the work as it came.
        function: what it opened to.
        plain: whether a fault stands for its result as it is.
    """

    work: Work[Any]
    function: Callable[[Note], Any]
    plain: bool = False

    def open(self) -> Callable[[Note], Any]:
        """See `Work.open`."""
        return self.function

    def instead(self, note: Note, fault: Diagnostic) -> Any:
        """See `Work.instead`."""
        return fault if self.plain else self.work.instead(note, fault)


@lru_cache(maxsize=2)
def opened(shared: Shared) -> Opened:
    """A shared work, opened once in each process."""
    work: Work[Any] = pickle.loads(shared.content.value)  # noqa: S301 - from our own process
    ready = Opened(work, work.open())
    gc.freeze()
    seldom_collect()
    return ready


def _attempts() -> int:
    from pyspark import TaskContext

    context = TaskContext.get()
    return context.attemptNumber() if context is not None else 0
