"""Chromium for the tests of pages; a real part (Debian package), driven by Playwright."""

import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


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
