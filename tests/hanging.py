"""A guard against what does not end: far above what any example takes, and no measure of speed."""

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

HANGS_AFTER = 30
"""Seconds of the processor's own time, so that a busy machine makes no difference."""


class HangsError(BaseException):
    """Something did not end; no code under test can take this for a fault of its input."""


@contextmanager
def ends_soon() -> Iterator[None]:
    """Raises HangsError where what stands inside does not end; without effect on systems without alarms."""
    if not hasattr(signal, "setitimer"):
        yield
        return
    before = signal.signal(signal.SIGPROF, _hangs)
    signal.setitimer(signal.ITIMER_PROF, HANGS_AFTER)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


def _hangs(_number: int, _frame: FrameType | None) -> None:
    raise HangsError(f"no end after {HANGS_AFTER} seconds")
