"""An archive of invented notes, and the review page over it, asked by plain HTTP.

Most tests have it served by a thread of theirs (`opened`). Where two programs meet, or one ends, a program
of its own serves it (`served`).
"""

import http.client
import os
import re
import signal
import subprocess
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from html import unescape
from pathlib import Path
from queue import SimpleQueue
from threading import Thread
from typing import Any
from unittest.mock import patch
from urllib.parse import urlencode, urlsplit

from archive_copies import copied

from converter.api import Session, open_session
from converter.archive import amendments, open_archive
from converter.loading import Loading, load
from converter.model import Amendment, Note
from converter.review_page import Desk, Review, server
from converter.sources import note_from_text

NOTES = {
    "RV-1": "Neuro: R KJ 1+, AJ 2+, R KJ 3+. Plantars down.",
    "RV-2": "Tone normal. DTRs were puzzling. Left ankle jerk zibbled.",
    "RV-3": "Left Hoffmann possibly positive. R AJ 2+.",
    "RV-4": "KJ 2+/2+, AJ 2+/2+, plantars down.",
}
"""Written for these tests: a contradiction, unread wording, a doubt, and a plain note."""
AT = "2031-05-01T08:00:00Z"


def session() -> Session:
    return open_session(run="r1", time=AT)


def notes_of(texts: Mapping[str, str]) -> list[Note]:
    return [
        replace(
            note_from_text(text, name, "urn:example:notes"),
            patient="P-1",
            author="EX-1",
            authored="2031-02-03",
        )
        for name, text in texts.items()
    ]


def archive_of(folder: Path, texts: Mapping[str, str] = NOTES, *, quotes: bool = True) -> Path:
    """An archive of some notes."""
    return copied(
        folder / "review.duckdb",
        (tuple(texts.items()), quotes),
        lambda path: load(notes_of(texts), path, session(), Loading(quotes=quotes)),
    )


def review_of(archive: Path, by: str = "R-1", patience: float = 3.0) -> Review:
    """A person's review of an archive."""
    return Review(archive=archive, session=session(), by=by, now=lambda: AT, patience=patience)


def desk_of(archive: Path, by: str = "R-1", patience: float = 3.0) -> Desk:
    """A desk over an archive, prepared."""
    desk = Desk(review_of(archive, by, patience))
    desk.prepare()
    return desk


def decisions_in(archive: Path) -> list[Amendment]:
    """Every amendment of an archive."""
    with open_archive(archive, read_only=True, patience=5) as opened:
        return list(amendments(opened))


@dataclass(frozen=True)
class Got:
    """An answer of the page."""

    status: int
    headers: Mapping[str, str]
    text: str

    def inputs(self, button: str) -> dict[str, str]:
        """The hidden fields of the first form that has such a button."""
        for form in re.findall(r"<form.*?</form>", self.text, re.DOTALL):
            if button in form:
                pairs = re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', form)
                return {name: unescape(value) for name, value in pairs}
        raise AssertionError(f"no form with {button}")


@dataclass(frozen=True)
class Served:
    """The page as it is served.

    Attributes:
        address: the address that was told, token included.
    """

    address: str

    @property
    def port(self) -> int:
        return urlsplit(self.address).port or 0

    @property
    def base(self) -> str:
        return urlsplit(self.address).path.rstrip("/")

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def get(self, path: str, headers: Mapping[str, str] | None = None) -> Got:
        """Ask for a path below the token."""
        return self.ask("GET", f"{self.base}{path}", headers or {})

    def post(self, path: str, fields: Mapping[str, str], headers: Mapping[str, str] | None = None) -> Got:
        """Send a form as the page itself does."""
        own = {"Origin": self.origin, "Sec-Fetch-Site": "same-origin"}
        kind = {"Content-Type": "application/x-www-form-urlencoded"}
        return self.ask(
            "POST", f"{self.base}{path}", {**kind, **(own if headers is None else headers)}, urlencode(fields)
        )

    def ask(self, method: str, path: str, headers: Mapping[str, str], body: str | bytes | None = None) -> Got:
        """Ask in any way."""
        link = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            link.request(method, path, body=body, headers=dict(headers))
            answer = link.getresponse()
            text = answer.read().decode("utf-8")
            return Got(answer.status, {name.lower(): value for name, value in answer.getheaders()}, text)
        finally:
            link.close()

    def question(self, kind: str) -> str:
        """The path of the first open question of a kind."""
        answer = self.get(f"/next?show={kind}")
        assert answer.status == 303, answer
        return urlsplit(answer.headers["location"]).path.removeprefix(self.base)


@dataclass(frozen=True)
class Program(Served):
    """The page as a program of its own serves it."""

    process: "subprocess.Popen[str]"


@contextmanager
def opened(archive: Path, by: str = "R-1") -> Iterator[Served]:
    """Serve the page from a thread, and stop it at the end."""
    made: list[Any] = []
    told: SimpleQueue[str] = SimpleQueue()
    make = server._server

    def kept(*how: Any) -> Any:
        made.append(make(*how))
        return made[0]

    with patch.object(server, "_server", kept):
        thread = Thread(
            target=server.serve, args=(review_of(archive, by), 0, lambda address, _: told.put(address))
        )
        thread.start()
        address = told.get(timeout=30)
    try:
        yield Served(address)
    finally:
        made[0].should_exit = True
        thread.join(timeout=30)


@contextmanager
def served(archive: Path, by: str = "R-1", *more: str) -> Iterator[Program]:
    """Serve the page by a program of its own, and stop it at the end."""
    command = [sys.executable, "-c", "from converter.cli.app import main; main()"]
    process = subprocess.Popen(
        [*command, "review", str(archive), "--by", by, *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "SOURCE_DATE_EPOCH": "1935388800"},
    )
    assert process.stdout is not None
    try:
        address = process.stdout.readline().strip()
        assert address.startswith("http://"), process.communicate(timeout=30)
        yield Program(address, process)
    finally:
        if process.poll() is None:
            process.send_signal(signal.SIGTERM)
        process.communicate(timeout=30)
