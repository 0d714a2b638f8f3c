"""Serves the page to this machine alone, until it is stopped.

Takes a Review; prints nothing, tells its address to the caller. The socket is bound to the loopback address
before anything is served, so that no other machine can ever reach it.
"""

import secrets
import socket
from collections.abc import Callable
from typing import TYPE_CHECKING

from converter.review_page.app import make_app
from converter.review_page.desk import Desk
from converter.review_page.values import Review

if TYPE_CHECKING:
    import uvicorn

LOOPBACK = "127.0.0.1"


def serve(review: Review, port: int, tell: Callable[[str, Desk], None]) -> None:
    """Serve the page until the program is stopped.

    Args:
        review: what is reviewed, and by whom.
        port: where to listen; 0 for any that is free.
        tell: called with the address of the page, token included, once it can be opened.

    Raises:
        ArchiveError: the archive cannot be read.
        OSError: the port is taken.
    """
    desk = Desk(review)
    desk.prepare()
    token = secrets.token_urlsafe(32)
    with _listening(port) as listening:
        port = listening.getsockname()[1]
        hosts = frozenset({f"{LOOPBACK}:{port}", f"localhost:{port}"})
        server = _server(desk, token, hosts)
        tell(f"http://{LOOPBACK}:{port}/{token}/", desk)
        server.run(sockets=[listening])


def _listening(port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((LOOPBACK, port))
        listening.listen(64)
    except BaseException:
        listening.close()
        raise
    return listening


def _server(desk: Desk, token: str, hosts: frozenset[str]) -> "uvicorn.Server":
    import uvicorn

    how = uvicorn.Config(
        make_app(desk, token, hosts),
        http="h11",
        ws="none",
        lifespan="off",
        loop="asyncio",
        access_log=False,  # paths hold the token
        log_config=None,
        server_header=False,
        proxy_headers=False,
        limit_concurrency=64,
        timeout_keep_alive=30,
        timeout_graceful_shutdown=5,
    )
    return uvicorn.Server(how)
