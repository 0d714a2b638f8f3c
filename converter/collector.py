"""The collector of cycles, which notes and readings give nothing to do."""

import gc

_RARELY = (50_000, 100, 100)
"""Objects made before it looks for cycles, and how often before it looks further back."""


def seldom_collect() -> None:
    """Let it look seldom, in this process: it looks for nothing while a program starts and reads."""
    gc.set_threshold(*_RARELY)
