"""Where an export is made and where it ends up: the hidden folder beside it, and the change of names.

Takes the final folder; sees that nothing of anybody else's is overwritten or removed.
"""

import json
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Self

from converter.exports.journal import JOURNAL
from converter.exports.values import MANIFEST, SCHEMA, ExportError


@dataclass(frozen=True, slots=True)
class Places:
    """The folders of one export.

    Attributes:
        final: where it ends up.
        partial: where it is made.
        old: where an earlier export stands while the new one takes its place.
        lock: held by the program that writes.
    """

    final: Path
    partial: Path
    old: Path
    lock: Path

    @classmethod
    def of(cls, folder: Path) -> Self:
        """The folders for a final one."""
        final = folder.absolute()
        if not final.name:
            raise ExportError(f"{folder}: is no name for a new folder.")
        beside = (final.with_name(f".{final.name}.{what}") for what in ("partial", "old", "lock"))
        return cls(final, *beside)

    def prepare(self, force: bool) -> None:
        """See that the final folder may be made or replaced, and make the hidden one.

        Raises:
            ExportError: it may not.
            OSError: the hidden one cannot be made.
        """
        if self.old.exists() and not self.final.exists():
            self.old.rename(self.final)  # an earlier run ended between the two changes of names
        if self.final.exists() and (not self.final.is_dir() or any(self.final.iterdir())):
            if not force:
                raise ExportError(f"{self.final}: is there already; --force replaces an earlier export.")
            _check_ours(self.final)
        known = any((self.partial / name).exists() for name in (JOURNAL, MANIFEST))
        if self.partial.exists() and any(self.partial.iterdir()) and not known:
            raise ExportError(f"{self.partial}: is no unfinished export; move it out of the way.")
        self.partial.mkdir(mode=0o700, exist_ok=True)

    @staticmethod
    def clean(partial: Path) -> None:
        """Empty the hidden folder."""
        for path in partial.iterdir():
            if path.is_dir() and not path.is_symlink():
                shutil.rmtree(path)
            else:
                path.unlink()

    def put_in_place(self) -> None:
        """Give the finished export its final name; what stood there goes only after that."""
        if self.final.exists():
            if self.old.exists():
                shutil.rmtree(self.old)
            self.final.rename(self.old)
        self.partial.rename(self.final)
        if self.old.exists():
            shutil.rmtree(self.old)


def _check_ours(folder: Path) -> None:
    """See that a folder is an export and holds nothing else, so that replacing it loses nothing.

    Raises:
        ExportError: it is none, or somebody put something in.
    """
    try:
        record = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        ours = record["schema"] == SCHEMA
        known = {one["name"] for one in record["files"]} | {MANIFEST}
    except (OSError, ValueError, KeyError, TypeError):
        ours, known = False, set[str]()
    if not ours:
        raise ExportError(f"{folder}: is no export of plexor, so it is not replaced; name another folder.")
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if not path.is_dir() and name not in known:
            raise ExportError(f"{folder}: holds {name}, which is not of that export, so it is not replaced.")


@contextmanager
def claimed(places: Places) -> Iterator[None]:
    """Keep other programs from making the same export at the same time.

    Raises:
        ExportError: another program does so now.
    """
    places.final.parent.mkdir(parents=True, exist_ok=True)
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    with places.lock.open("a") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise ExportError(f"{places.final}: another program is exporting to it.") from None
        try:
            yield
        finally:
            places.lock.unlink(missing_ok=True)
