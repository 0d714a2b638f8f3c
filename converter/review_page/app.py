"""The page as a web application: which address shows what, behind its guard.

Takes a Desk and a token; gives an ASGI application. What a page does is in `pages`; here requests become
plain values, and what goes wrong becomes a page that says what to do.
"""

import os
import traceback
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl

from converter.review_page.desk import Desk
from converter.review_page.guard import Guard
from converter.review_page.pages import Answer, Asked, Pages
from converter.review_page.rendering import STATIC, render
from converter.review_page.values import GoneError

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response
    from starlette.types import ASGIApp

_MOST_FIELDS = 60
_FAULT = (
    "plexor itself has a fault here ({}). Start the review with PLEXOR_TRACEBACK=1 set to see where, and "
    "please report it. What was saved before is kept."
)


def make_app(desk: Desk, token: str, hosts: frozenset[str]) -> "ASGIApp":
    """The application.

    Args:
        desk: prepared.
        token: the secret that every path begins with.
        hosts: the names, with port, that the page is asked by.
    """
    from starlette.applications import Starlette
    from starlette.routing import Mount, Route
    from starlette.staticfiles import StaticFiles

    pages = Pages(desk, f"/{token}")
    looked_at: Mapping[str, Callable[[Asked], Answer]] = {
        "/": pages.overview,
        "/next": pages.next,
        "/decisions": pages.decisions,
        "/question/{name}": pages.question,
        "/question/{name}/correct": pages.correct,
        "/question/{name}/add": pages.add,
    }
    told: Mapping[str, Callable[[Asked], Answer]] = {
        "/queue": pages.make_anew,
        "/undo": pages.undo,
        "/question/{name}/decide": pages.decide,
        "/question/{name}/correct": pages.save_correction,
        "/question/{name}/add": pages.save_addition,
    }
    routes = [Route(path, _endpoint(page, pages), methods=["GET"]) for path, page in looked_at.items()]
    routes += [Route(path, _endpoint(page, pages), methods=["POST"]) for path, page in told.items()]
    files = Mount("/static", StaticFiles(directory=STATIC))
    return Guard(Starlette(routes=[*routes, files]), token, hosts)


def _endpoint(page: Callable[[Asked], Answer], pages: Pages) -> "Callable[[Request], Any]":
    from starlette.concurrency import run_in_threadpool

    async def endpoint(request: "Request") -> "Response":
        body = await request.body()
        asked = Asked(
            name=request.path_params.get("name", ""),
            path=request.url.path,
            query=dict(request.query_params),
            form=_fields(body),
        )
        return _response(await run_in_threadpool(_answer, page, pages, asked))

    return endpoint


def _fields(body: bytes) -> dict[str, str]:
    """The fields of a form; bytes that are no text are shown as such, never passed by."""
    text = body.decode("utf-8", "backslashreplace")
    try:
        return dict(
            parse_qsl(text, keep_blank_values=True, errors="backslashreplace", max_num_fields=_MOST_FIELDS)
        )
    except ValueError:
        return {}


def _answer(page: Callable[[Asked], Answer], pages: Pages, asked: Asked) -> Answer:
    """What a page gives; what goes wrong is a page of its own."""
    from converter.archive import ArchiveBusyError, ArchiveError

    try:
        return page(asked)
    except ArchiveBusyError as error:
        return _trouble(pages, asked, 503, str(error), again=True)
    except GoneError as error:
        return _trouble(pages, asked, 410, str(error))
    except ArchiveError as error:
        return _trouble(pages, asked, 409, str(error))
    except Exception as error:
        if os.environ.get("PLEXOR_TRACEBACK"):
            traceback.print_exception(error)
        return _trouble(pages, asked, 500, _FAULT.format(type(error).__name__))


def _trouble(pages: Pages, asked: Asked, status: int, sentence: str, *, again: bool = False) -> Answer:
    """What went wrong, with the same form to send once more where that may help."""
    html = render(
        "trouble",
        base=pages.base,
        sentence=sentence,
        saving=bool(asked.form),
        again=again,
        path=asked.path,
        form=asked.form,
    )
    return Answer(html=html, status=status)


def _response(answer: Answer) -> "Response":
    from starlette.responses import HTMLResponse, RedirectResponse

    if answer.to:
        return RedirectResponse(answer.to, status_code=303)
    return HTMLResponse(answer.html.encode("utf-8", "backslashreplace"), status_code=answer.status)
