"""Opens an archive, makes it where there is none, and says plainly what is wrong.

Takes a path; gives an Archive or an ArchiveError. The database is readable by its owner only and
cut off from all other files, extensions and temporary files: nothing of a note is written anywhere else.
"""

import os
import re
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from converter.archive.forms import Step, bring_up_to_date, form_of, steps
from converter.archive.values import Archive, ArchiveBusyError, ArchiveError

if TYPE_CHECKING:
    import duckdb

_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "enable_external_access": "false",
    "temp_directory": "",
}
_LOCKED = "Could not set lock"
_PAUSE = 0.1  # seconds between two tries
_HOLDER = re.compile(r"\(PID (\d+)\)")


def open_archive(
    path: Path | str, create: bool = True, read_only: bool = False, patience: float = 0.0
) -> Archive:
    """Open an archive, or make a new one.

    Args:
        path: the archive file.
        create: make a new archive where there is no file; never with `read_only`.
        read_only: open for searching only; several programs may do so at once.
        patience: seconds to go on trying while another program has the archive open.

    Raises:
        ArchiveBusyError: another program has it open.
        ArchiveError: the file is missing, is no archive, was made by a newer program, or cannot be made; one
            sentence says which.
    """
    path = Path(path)
    if not path.exists():
        if read_only or not create:
            raise ArchiveError(f"{path}: there is no archive here.")
        _make(path)
    archive = Archive(path, _connect_patiently(path, read_only, patience), read_only)
    try:
        _check_form(archive)
    except BaseException:
        archive.close()
        raise
    return archive


@contextmanager
def private_files() -> Iterator[None]:
    """Let files that the database makes meanwhile, such as its log, be readable by their owner only."""
    before = os.umask(0o077)
    try:
        yield
    finally:
        os.umask(before)


def _make(path: Path) -> None:
    """Make the archive beside its place and put it there whole, so that no half-made archive is ever seen."""
    import duckdb

    try:
        with (
            tempfile.TemporaryDirectory(dir=path.parent, prefix=".plexor-") as folder,
            private_files(),
        ):
            new = Path(folder) / "new"
            connection = duckdb.connect(str(new), config=_CONFIG)
            bring_up_to_date(connection, steps())
            connection.close()
            _put(new, path)
    except (OSError, duckdb.Error) as error:
        raise ArchiveError(f"{path}: the archive cannot be made here ({_reason(error)}).") from None


def _put(new: Path, path: Path) -> None:
    try:
        path.hardlink_to(new)
    except FileExistsError:
        pass  # another program made the archive in the meantime: use that one
    except OSError:  # a file system without hard links
        new.rename(path)


def _connect_patiently(path: Path, read_only: bool, patience: float) -> "duckdb.DuckDBPyConnection":
    for _ in range(int(patience / _PAUSE)):
        try:
            return _connect(path, read_only)
        except ArchiveBusyError:
            time.sleep(_PAUSE)
    return _connect(path, read_only)


def _connect(path: Path, read_only: bool) -> "duckdb.DuckDBPyConnection":
    import duckdb

    config = _CONFIG | {"lock_configuration": str(read_only).lower()}
    try:
        with private_files():
            return duckdb.connect(str(path), read_only=read_only, config=config)
    except duckdb.Error as error:
        why = _why_not_opened(path, str(error), read_only)
        raise (ArchiveBusyError(why) if _LOCKED in str(error) else ArchiveError(why)) from None


def _why_not_opened(path: Path, message: str, read_only: bool) -> str:
    if "with a different configuration than" in message:
        return f"{path}: this program already has the archive open in another way; close that first."
    if _LOCKED in message:
        holder = _HOLDER.search(message)
        other = f"another program (process {holder[1]})" if holder else "another program"
        wish = "reading" if read_only else "writing"
        return f"{path}: {other} has the archive open; try again for {wish} when it is done."
    if "not a valid DuckDB" in message:
        return f"{path}: this file is no plexor archive."
    if "Permission denied" in message:
        return f"{path}: you may not open this file."
    if "Is a directory" in message or "No such file or directory" in message:
        return f"{path}: this is a folder, or lies in a missing folder; give the path of an archive file."
    return f"{path}: the archive cannot be opened; it may be damaged, or written by a newer DuckDB."


def _check_form(archive: Archive) -> None:
    form, way = form_of(archive.connection), steps()
    newest = way[-1].version
    if form is None:
        raise ArchiveError(f"{archive.path}: this is a DuckDB database, but no plexor archive.")
    if form > newest:
        raise ArchiveError(
            f"{archive.path}: this archive was made by a newer plexor (form {form}, known here {newest})."
        )
    if form < newest:
        if archive.read_only:
            raise ArchiveError(
                f"{archive.path}: this archive has an older form ({form}); load into it to update it."
            )
        _update(archive, way)


def _update(archive: Archive, way: Sequence[Step]) -> None:
    import duckdb

    try:
        with private_files():
            bring_up_to_date(archive.connection, way)
    except duckdb.Error:
        raise ArchiveError(f"{archive.path}: the archive could not be brought up to date.") from None


def _reason(error: Exception) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror.lower()
    return "the database refused"
