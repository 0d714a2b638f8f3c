"""Works that ask for trouble on a cluster; its machines import them from this folder."""

import os
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from converter.engines import Work
from converter.model import Diagnostic, Note


@dataclass(frozen=True, slots=True)
class Troubled:
    """Another work, with trouble where a note's text asks for it.

    Attributes:
        work: the other work.
        machines: process ids of the cluster's workers.
        mark: a file that is there once a machine was killed, so that it happens once.
    """

    work: Work[Any]
    machines: tuple[int, ...]
    mark: Path

    def open(self) -> Callable[[Note], Any]:
        function = self.work.open()

        def work(note: Note) -> Any:
            if "fail here" in note.text:
                raise ValueError("the words of a note")
            if "end the process here" in note.text:
                os.kill(os.getpid(), signal.SIGKILL)
            if "end the machine here" in note.text and not self.mark.exists():
                self.mark.touch()
                kill_machine(self.machines)
            return function(note)

        return work

    def instead(self, note: Note, fault: Diagnostic) -> Any:
        return self.work.instead(note, fault)


def kill_machine(machines: tuple[int, ...]) -> None:
    """Kill the worker of the cluster that this process belongs to, with every process between."""
    between = []
    for process in ancestors(os.getpid()):
        between.append(process)
        if process in machines:
            for one in reversed(between):
                os.kill(one, signal.SIGKILL)
            os.kill(os.getpid(), signal.SIGKILL)
    raise AssertionError("this process belongs to no worker of the cluster")


def ancestors(process: int) -> Iterator[int]:
    """The parents of a process, the nearest first."""
    while process > 1:
        process = int(Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[1])
        yield process
