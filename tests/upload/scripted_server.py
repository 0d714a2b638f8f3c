"""A server that answers as a test tells it to: the faults that a real one has only now and then."""

import json
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

Json = dict[str, Any]
Reply = tuple[int, dict[str, str], bytes]
"""Status, headers and body; status 0 hangs up."""


def taken(bundle: Json) -> Reply:
    """What a server says that takes everything."""
    entries = [{"response": {"status": "201 Created", "location": "x/1", "etag": 'W/"1"'}}] * len(
        bundle["entry"]
    )
    body = {"resourceType": "Bundle", "type": "transaction-response", "entry": entries}
    return 200, {}, json.dumps(body).encode()


def outcome(status: int, text: str = "No.", **headers: str) -> Reply:
    """A refusal with an OperationOutcome."""
    issue = {"severity": "error", "code": "processing", "diagnostics": text}
    return status, headers, json.dumps({"resourceType": "OperationOutcome", "issue": [issue]}).encode()


@dataclass
class Scripted:
    """What a scripted server has been sent.

    Attributes:
        url: its address.
        bundles, headers: of each request.
    """

    url: str = ""
    bundles: list[Json] = field(default_factory=list)
    headers: list[dict[str, str]] = field(default_factory=list)


@contextmanager
def scripted(answer: Callable[[int, Json], Reply]) -> Iterator[Scripted]:
    """A server that answers its requests, counted from 1, with what a function gives."""
    seen = Scripted()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            bundle = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            seen.bundles.append(bundle)
            seen.headers.append(dict(self.headers))
            status, headers, body = answer(len(seen.bundles), bundle)
            if status == 0:
                self.close_connection = True
                self.connection.close()
                return
            self.send_response_only(status)
            for name, value in {**headers, "Content-Length": str(len(body))}.items():
                self.send_header(name.replace("_", "-"), value)
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_: object) -> None:
            """A test needs no log."""

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
    thread.start()
    seen.url = f"http://127.0.0.1:{server.server_port}/fhir"
    try:
        yield seen
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
