"""The review page in a browser, watched for complaints and for what it asks of others."""

from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

_FORM_AGAIN = "the server responded with a status of 422"
"""What Chromium notes down when a form is shown again because of a mistake in it."""


@contextmanager
def watched(browser: "Browser", address: str, **how: object) -> "Iterator[Page]":
    """A page that must open without a complaint, and ask for nothing but its own server."""
    page = browser.new_page(**how)  # type: ignore[arg-type]
    page.set_default_timeout(60_000)
    complaints: list[str] = []
    asked: list[str] = []
    page.on("console", lambda message: complaints.append(message.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("dialog", lambda box: complaints.append(box.message))
    page.on("request", lambda request: asked.append(request.url))
    page.goto(address)
    yield page
    assert [one for one in complaints if _FORM_AGAIN not in one] == []
    origin = "/".join(address.split("/")[:4])
    assert [one for one in asked if not one.startswith(origin)] == []
    page.close()
