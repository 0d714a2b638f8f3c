"""Chromium for the tests of the review page; a real part (Debian package), driven by Playwright."""

import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


_FORM_AGAIN = "the server responded with a status of 422"
"""What Chromium notes down when a form is shown again because of a mistake in it."""


@contextmanager
def chromium() -> "Iterator[Browser]":
    """The browser, or a skip where it is not installed."""
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("chromium is not installed; it is one of the real parts, see PLEXOR_PARTS")
    playwright = pytest.importorskip(
        "playwright.sync_api", reason="playwright is not installed; one of the real parts, see PLEXOR_PARTS"
    )
    with playwright.sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=program, args=list(FLAGS))
        yield started
        started.close()


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
