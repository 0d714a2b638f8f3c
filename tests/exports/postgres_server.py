"""A real PostgreSQL for the tests: a cluster of its own in a temporary folder, behind a private socket.

Debian package `postgresql`. The server refuses to run as root, so a root process starts it as the user
`postgres` or `nobody`.
"""

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

_MISSING = "PostgreSQL is not installed; it is one of the real parts, see PLEXOR_PARTS"
_QUIET = (
    "fsync=off",
    "shared_buffers=16MB",
    "max_connections=20",
    "listen_addresses=",
    "log_min_messages=fatal",
)


class Server:
    """A running cluster. `env` is what reaches its database `site`."""

    def __init__(self, programs: Path, folder: Path, owner: str | None) -> None:
        self._programs = programs
        self._folder = folder
        self._as: dict[str, Any] = {"user": owner} if owner else {}
        self.env: Mapping[str, str] = {"PGHOST": str(folder), "PGUSER": "tester", "PGDATABASE": "site"}

    def make(self) -> None:
        self._run("initdb", "-D", self._data, "-U", "tester", "--auth=trust", "--no-sync", "-E", "UTF8")
        self.start()
        self.command("createdb", "site")

    def start(self) -> None:
        options = " ".join(f"-c {one}" for one in _QUIET) + f" -k {self._folder}"
        log = str(self._folder / "log")
        self._run("pg_ctl", "-D", self._data, "-w", "-l", log, "-o", options, "start")

    def stop(self, mode: str = "fast") -> None:
        self._run("pg_ctl", "-D", self._data, "-m", mode, "-w", "stop")

    def command(self, name: str, *arguments: str) -> None:
        """Run one of PostgreSQL's own commands against the server."""
        plain = {key: value for key, value in os.environ.items() if not key.startswith("PG")}
        reached = {**plain, **self.env, "PGDATABASE": "postgres"}
        subprocess.run([self._programs / name, *arguments], check=True, env=reached)

    @property
    def running(self) -> bool:
        return (Path(self._data) / "postmaster.pid").exists()

    @property
    def _data(self) -> str:
        return str(self._folder / "data")

    def _run(self, name: str, *arguments: str) -> None:
        subprocess.run(
            [self._programs / name, *arguments],
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            cwd=self._folder,
            **self._as,
        )


@contextmanager
def running_server() -> Iterator[Server]:
    """Start a server with an empty database `site`; it is gone at the end."""
    programs = _programs()
    owner = _owner()
    folder = Path(tempfile.mkdtemp(prefix="pg-"))  # a short path, since a socket's is limited
    try:
        if owner:
            shutil.chown(folder, owner)
        server = Server(programs, folder, owner)
        server.make()
        try:
            yield server
        finally:
            if server.running:
                server.stop("immediate")
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _programs() -> Path:
    places = sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)
    found = next((place for place in places if (place / "initdb").exists()), None)
    on_path = shutil.which("initdb")
    if found is None and on_path is None:
        pytest.skip(_MISSING)
    return found or Path(str(on_path)).resolve().parent


def _owner() -> str | None:
    """Whom a root process starts the server as."""
    if os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            return pwd.getpwnam(name).pw_name
        except KeyError:
            continue
    pytest.skip(f"{_MISSING}; there is no user to run it as")
