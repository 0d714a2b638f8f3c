"""Archives that several tests begin with: loaded once, then copied, which takes a hundredth of the time."""

from collections.abc import Callable, Hashable
from pathlib import Path

_KEPT: dict[Hashable, bytes] = {}


def copied(path: Path, what: Hashable, load: Callable[[Path], object]) -> Path:
    """An archive at a path that is the test's own.

    Args:
        path: where the archive is put; nothing is there yet.
        what: tells what it holds from what others hold.
        load: makes the archive and closes it; called only for the first archive that holds this.
    """
    if what in _KEPT:
        path.write_bytes(_KEPT[what])
        path.chmod(0o600)
    else:
        load(path)
        _KEPT[what] = path.read_bytes()
    return path
