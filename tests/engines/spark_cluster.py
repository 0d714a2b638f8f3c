"""A real Spark cluster for the tests: a master and two workers as processes of their own, on this machine.

PyPI `pyspark`, as `requirements-spark.lock` pins it, and Java; both are real parts, see PLEXOR_PARTS. With an
archive of Spark's classes (`spark_classes`) the processes start in half the time.
"""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest
from spark_classes import ARCHIVE, FOLDER, SETTINGS

ROOT = Path(__file__).parents[2]
HERE = Path(__file__).parent
_LOOPBACK = "127.0.0.1"
_WORKERS = 2
_PATIENCE, _KINDNESS = 180.0, 20.0
"""Seconds that a cluster is given to start, and a driver to end."""
_JAVA = "-XX:TieredStopAtLevel=1 -XX:+UseSerialGC -XX:MetaspaceSize=200m -Xms200m"
"""These processes live for a minute: there is little to gain from compiling well, or tidying up early."""
_SETTINGS = {
    "spark.driver.host": _LOOPBACK,
    "spark.driver.bindAddress": _LOOPBACK,
    "spark.driver.memory": "512m",
    "spark.executor.memory": "512m",
    "spark.executor.cores": "1",
    "spark.executorEnv.SPARK_HOME": "/nowhere",
    "spark.python.daemon.module": "cluster_daemon",
    "spark.ui.enabled": "false",
    "spark.log.level": "ERROR",
    "spark.sql.shuffle.partitions": "2",
    "spark.sql.files.minPartitionNum": "4",
    "spark.locality.wait": "0s",
    "spark.shuffle.io.retryWait": "200ms",
}
"""Executors import the installed pyspark, which is compiled, not the zip file in SPARK_HOME, and do so once
for all their Python processes. The last four suit two machines of one core that die: more parts than
machines, little waiting.
"""


@dataclass(slots=True)
class Cluster:
    """A running cluster.

    Attributes:
        master: its URL.
        folder: where it keeps its settings and logs.
        env: the environment of its processes.
        workers: the processes of its workers.
        driver: the program that asks for work.
    """

    master: str
    folder: Path
    env: dict[str, str]
    workers: "list[subprocess.Popen[str]]" = field(default_factory=list)
    driver: "subprocess.Popen[str] | None" = None
    _processes: "list[subprocess.Popen[str]]" = field(default_factory=list)
    _begun: int = 0

    def do(self, name: str, **arguments: Any) -> dict[str, Any]:
        """Have the driver do something; see `cluster_driver`."""
        assert self.driver is not None
        assert self.driver.stdin is not None
        assert self.driver.stdout is not None
        self.driver.stdin.write(json.dumps({"do": name, **arguments}) + "\n")
        self.driver.stdin.flush()
        line = self.driver.stdout.readline()
        if not line:
            pytest.fail(f"the driver ended: {self._end_of('driver')}")
        answer: dict[str, Any] = json.loads(line)
        return answer

    def plexor(self, *arguments: str | Path, mark: Path | None = None) -> dict[str, Any]:
        """Run a command of plexor that works on the cluster.

        Args:
            arguments: of the command, without the cluster.
            mark: with it, notes that ask for trouble get it; see `cluster_works`.
        """
        where = ("--engine", "spark", "--master", self.master)
        given = [str(one) for one in (*arguments, *where)]
        if mark is None:
            return self.do("command", arguments=given)
        return self.do("troubled_command", arguments=given, machines=self.machines(), mark=str(mark))

    def machines(self) -> list[int]:
        """Process ids of the workers."""
        return [worker.pid for worker in self.workers]

    def start(self) -> None:
        """Start the master, then two workers and the driver at once: who finds no master waits long."""
        self._spark("master.Master", "--port", self.master.rpartition(":")[2])
        self._wait_for("I have been elected leader", 1)
        self._start_workers()
        command = [sys.executable, str(HERE / "cluster_driver.py"), self.master]
        with (self.folder / "driver.log").open("wb") as log:
            self.driver = self._started(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=log)
        self._wait_for("Registering worker", self._begun)

    def mend(self) -> None:
        """Start a new worker for each that ended, and wait until the master knows them."""
        self.workers = [worker for worker in self.workers if worker.poll() is None]
        self._start_workers()
        self._wait_for("Registering worker", self._begun)

    def _start_workers(self) -> None:
        while len(self.workers) < _WORKERS:
            self.workers.append(self._spark("worker.Worker", "--cores", "1", "--memory", "700M", self.master))
            self._begun += 1

    def _wait_for(self, said: str, times: int) -> None:
        """Wait until the cluster has said something as often."""
        until = time.monotonic() + _PATIENCE
        while self._end_of("cluster", None).count(said) < times:
            if time.monotonic() > until or any(one.poll() is not None for one in self._processes[:1]):
                pytest.fail(f"the cluster did not start: {self._end_of('cluster')}")
            time.sleep(0.1)

    def end(self) -> None:
        """End every process that was started, with those that it started."""
        if self.driver is not None and self.driver.stdin is not None and self.driver.stdout is not None:
            self.driver.stdin.close()
            with suppress(subprocess.TimeoutExpired):
                self.driver.wait(_KINDNESS)
            self.driver.stdout.close()
        for process in reversed(self._processes):
            with suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()

    def _spark(self, name: str, *arguments: str) -> "subprocess.Popen[str]":
        """Start a process of the cluster by Spark's own start class."""
        start = self.env["SPARK_HOME"] + "/bin/spark-class"
        options = ("--host", _LOOPBACK, "--webui-port", "0")
        with (self.folder / "cluster.log").open("ab") as log:
            command = [start, f"org.apache.spark.deploy.{name}", *options, *arguments]
            return self._started(command, stdout=log, stderr=log)

    def _started(self, command: list[str], **streams: Any) -> "subprocess.Popen[str]":
        process: subprocess.Popen[str] = subprocess.Popen(
            command, env=self.env, cwd=self.folder, text=True, start_new_session=True, **streams
        )
        self._processes.append(process)
        return process

    def _end_of(self, name: str, last: int | None = 2000) -> str:
        text = (self.folder / f"{name}.log").read_text(encoding="utf-8", errors="replace")
        return text if last is None else text[-last:]


@contextmanager
def running_cluster(folder: Path) -> Iterator[Cluster]:
    """Start a cluster and a driver on it; all of it is gone at the end."""
    cluster = Cluster(f"spark://{_LOOPBACK}:{_free_port()}", folder, _environment(folder, _part()))
    try:
        cluster.start()
        yield cluster
    finally:
        cluster.end()


def _environment(folder: Path, part: Path) -> dict[str, str]:
    """The environment of the cluster's processes; the settings of the driver are written into a file."""
    classes = part.with_name(FOLDER)
    archive = classes / ARCHIVE
    java = f"{_JAVA} -XX:SharedArchiveFile={archive}" if archive.is_file() else _JAVA
    options = dict.fromkeys(("spark.driver.extraJavaOptions", "spark.executor.extraJavaOptions"), java)
    settings = folder / "settings.conf"
    lines = (f"{key} {value}\n" for key, value in (_SETTINGS | options).items())
    settings.write_text("".join(lines), encoding="utf-8")
    (folder / SETTINGS).mkdir()
    plain = {key: value for key, value in os.environ.items() if not key.startswith(("SPARK_", "PYSPARK_"))}
    return plain | {
        "SPARK_HOME": str(part / "pyspark"),
        "SPARK_CONF_DIR": str((classes if archive.is_file() else folder) / SETTINGS),
        "SPARK_LOCAL_IP": _LOOPBACK,
        "SPARK_LOCAL_DIRS": str(folder),
        "SPARK_WORKER_DIR": str(folder / "work"),
        "SPARK_DAEMON_MEMORY": "256m",
        "SPARK_DAEMON_JAVA_OPTS": java,
        "PYSPARK_SUBMIT_ARGS": f"--properties-file {settings} pyspark-shell",
        "PYTHONPATH": os.pathsep.join(map(str, (ROOT, HERE, part))),
    }


def _part() -> Path:
    parts = os.environ.get("PLEXOR_PARTS")
    if not parts:
        pytest.skip("PLEXOR_PARTS is not set: no Spark to start a cluster of")
    folder = Path(parts) / "spark"
    if not folder.is_dir():
        pytest.skip(f"{folder} is missing from PLEXOR_PARTS")
    if shutil.which("java") is None:
        pytest.skip("PLEXOR_PARTS has Spark, but there is no java here to run it")
    return folder.resolve()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind((_LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port
