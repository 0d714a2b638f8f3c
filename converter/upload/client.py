"""Posts one Bundle to a server, again and again where it has no time or the line is lost.

Takes the bytes of a Bundle; gives the final answer. Sending twice is harmless, since each entry is a
conditional update: what a lost answer left in doubt is simply sent again.
"""

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime
from typing import TYPE_CHECKING, Any

from converter.upload.values import Patience, Server, UploadError

if TYPE_CHECKING:
    import httpx

LOST = 0
"""The status of a batch that never got an answer."""
_AGAIN = frozenset({LOST, 408, 425, 429, 500, 502, 503, 504})
_BUSY = frozenset({LOST, 408, 425, 429, 502, 503, 504})
_LARGEST_ANSWER = 256 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Reply:
    """A server's final answer to a batch.

    Attributes:
        status: HTTP status; 0 where the line was lost each time.
        body: the answer as JSON, or None where it is none.
        attempts: how often the batch was sent.
        said: what went wrong, where the line was lost.
    """

    status: int
    body: Any
    attempts: int
    said: str | None = None

    @property
    def busy(self) -> bool:
        """Whether the server cannot be reached or has no time, whatever is sent."""
        return self.status in _BUSY


class Client:
    """A connection to a server; made by `open_client`."""

    def __init__(
        self, http: "httpx.Client", server: Server, patience: Patience, wait: Callable[[float], None]
    ) -> None:
        self._http = http
        self._server = server
        self._patience = patience
        self._wait = wait

    def post(self, bundle: bytes) -> Reply:
        """Send a Bundle until the server has taken or refused it, or patience ends.

        Raises:
            UploadError: the server does not know us, or is elsewhere; nothing else would be taken either.
        """
        pause = self._patience.first_wait
        for attempt in range(1, self._patience.attempts + 1):
            reply, asked = self._once(bundle, attempt)
            if reply.status not in _AGAIN or attempt == self._patience.attempts:
                break
            self._wait(min(max(pause, asked), self._patience.longest_wait))
            pause *= 2
        _check_known(reply, self._server)
        return reply

    def _once(self, bundle: bytes, attempt: int) -> tuple[Reply, float]:
        import httpx

        try:
            with self._http.stream("POST", self._server.address, content=bundle) as answer:
                content = _limited(answer)
        except httpx.HTTPError as error:
            return Reply(LOST, None, attempt, _plain(error)), 0.0
        return Reply(answer.status_code, _json(content), attempt), _asked_for(answer)


@contextmanager
def open_client(server: Server, patience: Patience, wait: Callable[[float], None]) -> Iterator[Client]:
    """A client; redirections are not followed, so that a token goes nowhere else.

    Args:
        server: where to send.
        patience: how often and how long.
        wait: waits so many seconds.

    Raises:
        UploadError: the library that talks to servers is not installed.
    """
    try:
        import httpx
    except ImportError:
        raise UploadError(
            "Sending needs the package httpx; install it with: pip install 'plexor[send]'"
        ) from None
    headers = {
        "Content-Type": "application/fhir+json; charset=utf-8",
        "Accept": "application/fhir+json",
        "Prefer": "return=minimal",
    }
    if server.token is not None:
        headers["Authorization"] = f"Bearer {server.token}"
    with httpx.Client(headers=headers, timeout=patience.timeout, trust_env=not server.loopback) as http:
        yield Client(http, server, patience, wait)


def _limited(answer: "httpx.Response") -> bytes:
    """The body of an answer, up to a size that no honest one has."""
    pieces, size = [], 0
    for piece in answer.iter_bytes():
        size += len(piece)
        if size > _LARGEST_ANSWER:
            break
        pieces.append(piece)
    return b"".join(pieces)


def _json(content: bytes) -> Any:
    try:
        return json.loads(content)
    except (ValueError, RecursionError):
        return None


def _plain(error: Exception) -> str:
    """What happened, without addresses or headers."""
    return f"no answer ({type(error).__name__})"


def _asked_for(answer: "httpx.Response") -> float:
    """Seconds that the server asks to be left alone (RFC 9110, Retry-After)."""
    written = answer.headers.get("Retry-After", "").strip()
    if written.isdigit():
        return float(written)
    try:
        until = parsedate_to_datetime(written)
        now = parsedate_to_datetime(answer.headers["Date"])
    except (KeyError, ValueError, TypeError):
        return 0.0
    return max(0.0, (_in_utc(until) - _in_utc(now)).total_seconds())


def _in_utc(moment: datetime) -> datetime:
    return moment if moment.tzinfo is not None else moment.replace(tzinfo=UTC)


def _check_known(reply: Reply, server: Server) -> None:
    if reply.status in (401, 403):
        given = "the token was not accepted" if server.token else "it wants a token"
        raise UploadError(f"{server.address} refuses us ({reply.status}): {given}.")
    if 300 <= reply.status < 400:
        raise UploadError(f"{server.address} is elsewhere ({reply.status}); give the address it leads to.")
    if reply.status in (404, 405, 415):
        raise UploadError(
            f"{server.address} takes no transactions ({reply.status}); is that the base address of a server?"
        )
