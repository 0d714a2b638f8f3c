"""The door of the page: who may ask at all, and what every answer says to the browser.

Takes requests; lets through only those from this machine, to this very address, from this very page, with the
token in their path. Whatever else comes gets one short sentence. Every answer forbids other sites to use it.
"""

import ipaddress
import secrets
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

MOST_BYTES = 64_000
"""The longest request body; a correction is far shorter."""

HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), geolocation=(), microphone=()",
    "referrer-policy": "same-origin",
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
}
_METHODS = frozenset({"GET", "HEAD", "POST"})


class Guard:
    """An ASGI application that stands before another one.

    Attributes:
        token: the secret that the path of every request begins with.
        hosts: the names, with port, that the page is asked by.
    """

    def __init__(self, app: "ASGIApp", token: str, hosts: frozenset[str]) -> None:
        self._app = app
        self._token = token
        self._hosts = hosts

    async def __call__(self, scope: "Scope", receive: "Receive", send: "Send") -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            return  # nothing else is spoken here
        refusal = self._refusal(scope)
        if refusal is not None:
            await _refuse(send, *refusal)
            return
        body = await _body(receive)
        if body is None:
            await _refuse(send, 413, "The request is too long.")
            return
        inside = {**scope, "root_path": f"/{self._token}"}
        await self._app(inside, _replay(body, receive), _with_headers(send))

    def _refusal(self, scope: "Scope") -> tuple[int, str] | None:
        headers = _headers(scope)
        if headers is None or len(headers.get("host", [])) != 1:
            return 400, "The request is not well formed."
        if not _is_loopback(scope.get("client")):
            return 403, "This page answers only the machine it runs on."
        host = headers["host"][0]
        if host not in self._hosts:
            return 421, "This page does not answer to that name."
        if scope["method"] not in _METHODS:
            return 405, "This page knows only GET and POST."
        if not self._own(headers, host, scope["method"]):
            return 403, "Asked from another page: refused. Paste the address into the browser yourself."
        if not self._knows_token(scope["path"]):
            return 404, "The address is not complete: use the one that plexor review wrote."
        return None

    def _own(self, headers: dict[str, list[str]], host: str, method: str) -> bool:
        """Whether a request comes from the page itself, or from a person who typed its address."""
        site = headers.get("sec-fetch-site", [])
        allowed = {"same-origin"} if method == "POST" else {"same-origin", "none"}
        if any(one not in allowed for one in site):
            return False
        origins = headers.get("origin", [])
        if any(one != f"http://{host}" for one in origins):
            return False
        return method != "POST" or len(origins) == 1

    def _knows_token(self, path: str) -> bool:
        given = path.split("/")[1] if path.count("/") >= 2 else ""
        return secrets.compare_digest(given.encode(), self._token.encode())


def _headers(scope: "Scope") -> dict[str, list[str]] | None:
    found: dict[str, list[str]] = {}
    try:
        for name, value in scope["headers"]:
            found.setdefault(name.decode("ascii").lower(), []).append(value.decode("ascii"))
    except UnicodeDecodeError:
        return None
    return found


def _is_loopback(client: tuple[str, int] | None) -> bool:
    try:
        return client is not None and ipaddress.ip_address(client[0]).is_loopback
    except ValueError:
        return False


async def _body(receive: "Receive") -> bytes | None:
    """The whole body, or None where it is too long."""
    body: bytes = b""
    while True:
        message = await receive()
        body += message.get("body", b"")
        if len(body) > MOST_BYTES:
            return None
        if message["type"] == "http.disconnect" or not message.get("more_body"):
            return body


def _replay(body: bytes, receive: "Receive") -> "Receive":
    """A body that was taken already, as the application behind asks for it."""
    given = False

    async def again() -> "Message":
        nonlocal given
        if given:
            return await receive()
        given = True
        return {"type": "http.request", "body": body, "more_body": False}

    return again


def _with_headers(send: "Send") -> "Send":
    async def sending(message: "Message") -> None:
        if message["type"] == "http.response.start":
            own = [(name.encode(), value.encode()) for name, value in HEADERS.items()]
            given = [pair for pair in message.get("headers", []) if pair[0].decode("latin-1") not in HEADERS]
            message = {**message, "headers": [*given, *own]}
        await send(message)

    return sending


async def _refuse(send: "Send", status: int, sentence: str) -> None:
    guarded = _with_headers(send)
    body = f"{sentence}\n".encode()
    about = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(body)).encode())]
    about.append((b"connection", b"close"))
    await guarded({"type": "http.response.start", "status": status, "headers": about})
    await guarded({"type": "http.response.body", "body": body})
