"""Where work on notes is done: in this process, or spread over worker processes.

Takes a stream of notes and the work to do on each; gives a stream of results in the order of the notes, and
an account of them. What the work is, this package does not know; whoever asks for it does not know where
it is done. A further engine is a class of its own that keeps to `Engine`.
"""

from collections.abc import Callable
from typing import TypeVar

from converter.engines.engine import Account, Done, Engine, EngineError, Work
from converter.engines.single import SingleProcess
from converter.engines.workers import WorkerProcesses, cores
from converter.model import Diagnostic

__all__ = [
    "Account",
    "Done",
    "Engine",
    "EngineError",
    "SingleProcess",
    "Work",
    "WorkerProcesses",
    "cores",
    "local_engine",
]

T = TypeVar("T")


def local_engine(work: Work[T], workers: int | None, tell: Callable[[Diagnostic], None]) -> Engine[T]:
    """The engine of one machine.

    Args:
        work: what is done to every note.
        workers: how many processes; 1 works in this one, None takes as many as there are cores.
        tell: called with a warning for each worker that dies.
    """
    count = cores() if workers is None else workers
    return SingleProcess(work) if count <= 1 else WorkerProcesses(work, count, tell)
