"""What tests of several packages share: where outside material and real parts are."""

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browsing import chromium
from sharing import WholeFiles, longest_first

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser
    from xdist.scheduler import Scheduling

os.environ.pop("COLUMNS", None)  # test workers set it, and tables are as wide as it says


@pytest.fixture(scope="session")
def outside() -> Path:
    """The folder of outside material; the test skips where `PLEXOR_OUTSIDE` is unset."""
    return outside_folder()


@pytest.fixture(scope="session")
def browser() -> "Iterator[Browser]":
    """One Chromium for the tests of all pages; the test skips where there is none."""
    with chromium() as started:
        yield started


def outside_folder() -> Path:
    """The folder that `PLEXOR_OUTSIDE` names, or a skip."""
    folder = os.environ.get("PLEXOR_OUTSIDE")
    if not folder:
        pytest.skip("PLEXOR_OUTSIDE is not set: no outside material to check against")
    return Path(folder)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Run the longest files first."""
    longest_first(items)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> "Scheduling":
    """Share the files out to the workers as `sharing` says."""
    return WholeFiles(config, log)


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo[None]):  # type: ignore[no-untyped-def]
    """Where the real parts were installed, a skip for want of one is a failure."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and os.environ.get("PLEXOR_REQUIRE_PARTS") and "PLEXOR_PARTS" in str(report.longrepr):
        report.outcome = "failed"
