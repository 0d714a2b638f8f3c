"""What every benchmark shares: figures beside their reference, medians of rounds, the machine in a line."""

import contextlib
import os
import platform
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

ROUNDS = int(os.environ.get("BENCH_ROUNDS", "5"))
_WATCH = 0.01
"""Seconds between two looks at a running program."""
_BYTE_CODE = tempfile.TemporaryDirectory(prefix="byte-code-")
PROGRAM = ["-c", "from converter.cli.app import main; main()"]


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure beside its reference.

    Attributes:
        name: what was measured.
        ours: our figure, with its unit.
        reference: what stands beside it, with its figure.
        ratio: ours by the reference, in the sense that `aim` states.
        aim: what the ratio should be, or empty where it is only reported.
        met: whether it is; None where there is no aim or no reference at hand.
    """

    name: str
    ours: str
    reference: str
    ratio: str
    aim: str = ""
    met: bool | None = None


def at_most(name: str, ours: float, reference: float, beside: str, most: float) -> Figure:
    """A figure in seconds that should be at most so many times the reference's."""
    ratio = ours / reference
    return Figure(
        name,
        f"{ours:.3f} s",
        f"{reference:.3f} s {beside}",
        f"{ratio:.2f}",
        f"at most {most:g}",
        ratio <= most,
    )


def at_least(name: str, ours: float, reference: float, beside: str, unit: str, least: float) -> Figure:
    """A figure by the second that should be at least so many times the reference's; nought is no aim."""
    ratio = ours / reference
    return Figure(
        name,
        f"{ours:,.0f} {unit}/s",
        f"{reference:,.0f} {unit}/s {beside}",
        f"{ratio:.2f}",
        f"at least {least:.3g}" if least else "",
        ratio >= least if least else None,
    )


def seconds(work: Callable[[], object]) -> float:
    """How long a piece of work takes by the clock."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def side_by_side(*works: Callable[[], object], rounds: int = ROUNDS) -> list[float]:
    """The median seconds of each, measured in turns so that a busy moment hits all alike."""
    times: list[list[float]] = [[] for _ in works]
    for _ in range(rounds):
        for taken, work in zip(times, works, strict=True):
            taken.append(seconds(work))
    return [statistics.median(taken) for taken in times]


@dataclass(frozen=True, slots=True)
class Run:
    """What a run of the program used: its peak memory in MiB, and its processor time in seconds."""

    peak: int
    processor: float


def run_program(words: Sequence[str], python: Sequence[str] = (sys.executable,)) -> Run:
    """Run plexor with its byte code at hand, as an installed program has it; the first run writes that.

    Args:
        words: what stands behind the name of the program.
        python: the Python that has it, with its own options.

    Raises:
        RuntimeError: it could not run.
    """
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    process = subprocess.Popen(
        [*python, *PROGRAM, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env={"PYTHONPYCACHEPREFIX": _BYTE_CODE.name, **kept},
    )
    peak, status, used = _watched(process.pid)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode == 2:
        raise RuntimeError(f"plexor {' '.join(words)} could not run")
    return Run(peak, used.ru_utime + used.ru_stime)


def _watched(pid: int) -> tuple[int, int, resource.struct_rusage]:
    """The peak memory in MiB, the status and the use of a process, once it has ended.

    On Linux the peak is asked for while it runs: what `wait4` tells counts the memory of this process, too.
    """
    peak = ended = 0
    while not ended:
        ended, status, used = os.wait4(pid, os.WNOHANG if sys.platform == "linux" else 0)
        with contextlib.suppress(OSError, StopIteration, ValueError):
            lines = Path(f"/proc/{pid}/status").read_text(encoding="ascii").splitlines()
            peak = max(peak, int(next(line for line in lines if line.startswith("VmHWM")).split()[1]) // 1024)
        time.sleep(0 if ended else _WATCH)
    return peak or used.ru_maxrss // (1024 if sys.platform != "darwin" else 1024 * 1024), status, used


def machine() -> str:
    """The machine in a line: cores, processor, memory, system, Python, and how busy it is."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count()
    memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**30
    return (
        f"{cores} cores ({_processor()}), {memory:.0f} GiB, {platform.system()} {platform.machine()}, "
        f"Python {platform.python_version()}; {busy()}"
    )


def busy() -> str:
    """How busy the machine is; the benchmarks themselves count for one or two."""
    return "load averages " + ", ".join(f"{load:.1f}" for load in os.getloadavg())


def _processor() -> str:
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        return platform.processor() or "unknown"
    return next(
        (line.partition(":")[2].strip() for line in lines if line.startswith("model name")), "unknown"
    )
