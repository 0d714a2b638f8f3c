"""Where work on notes is done: in this process, spread over worker processes, or on a cluster.

Takes a stream of notes and the work to do on each; gives a stream of results in the order of the notes, and
an account of them. What the work is, this package does not know; whoever asks for it does not know where
it is done. A further engine is a class of its own that keeps to `Engine`.
"""

from collections.abc import Callable
from dataclasses import dataclass
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
    "Machines",
    "SingleProcess",
    "Work",
    "WorkerProcesses",
    "cores",
    "engine_on",
    "local_engine",
]

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Machines:
    """Where work is done.

    Attributes:
        workers: how many processes of this machine; 1 for this one, None for as many as there are cores.
        master: URL of a Spark cluster, which then does the work; None for this machine.
    """

    workers: int | None = 1
    master: str | None = None


def engine_on(machines: Machines, work: Work[T], tell: Callable[[Diagnostic], None]) -> Engine[T]:
    """The engine that does a work there.

    Args:
        machines: where.
        work: what is done to every note.
        tell: called with a warning for each worker that dies.
    """
    if machines.master is None:
        return local_engine(work, machines.workers, tell)
    from converter.engines.cluster import SparkCluster

    return SparkCluster(work, machines.master, tell)


def local_engine(work: Work[T], workers: int | None, tell: Callable[[Diagnostic], None]) -> Engine[T]:
    """The engine of one machine.

    Args:
        work: what is done to every note.
        workers: how many processes; 1 works in this one, None takes as many as there are cores.
        tell: called with a warning for each worker that dies.
    """
    count = cores() if workers is None else workers
    return SingleProcess(work) if count <= 1 else WorkerProcesses(work, count, tell)
