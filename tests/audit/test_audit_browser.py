"""The report in a real browser: opens without a complaint, filters, prints, fits a phone, works by keyboard.

Chromium (Debian package) driven by Playwright, and axe-core, a checker of accessibility (WCAG 2.1 rules), are
real parts of the tests.
"""

import os
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from audit_samples import audited, small_archive

from converter.audit import report_html

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Page


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("report") / "report.html"
    path.write_text(report_html(audited(small_archive(), name_notes=True)), encoding="utf-8")
    return path


@pytest.fixture(params=["light", "dark"])
def page(browser: "Browser", report: Path, request: pytest.FixtureRequest) -> "Iterator[Page]":
    opened = browser.new_page(viewport={"width": 1200, "height": 900}, color_scheme=request.param)
    complaints: list[str] = []
    requests: list[str] = []
    opened.on("console", lambda message: complaints.append(message.text))
    opened.on("pageerror", lambda error: complaints.append(str(error)))
    opened.on("request", lambda asked: requests.append(asked.url))
    opened.goto(report.as_uri())
    yield opened
    assert complaints == []
    assert requests == [report.as_uri()]
    opened.close()


def test_one_comparison_shows_at_a_time(page: "Page") -> None:
    assert page.locator('#figure-reflexes .panel[data-dimension="examiner"]').is_visible()
    assert not page.locator('#figure-reflexes .panel[data-dimension="month"]').is_visible()
    page.check("input[value=month]")
    assert page.locator('#figure-reflexes .panel[data-dimension="month"]').is_visible()
    assert not page.locator('#figure-reflexes .panel[data-dimension="examiner"]').is_visible()
    assert "groups by month" in page.inner_text("#status")


def test_topics_and_groups_filter(page: "Page") -> None:
    everything = page.locator(".figure:visible").count()
    page.select_option("#topic", "What is abnormal")
    assert page.locator(".figure:visible").count() == 4
    page.fill("#group", "ex-1")
    panel = page.locator('#figure-abnormal .panel[data-dimension="examiner"]')
    assert panel.locator("tbody tr:visible").count() == 1
    assert "1 groups" in page.inner_text("#status")
    page.click("button[type=reset]")
    page.wait_for_function("document.querySelector('#group').value === ''")
    assert page.locator(".figure:visible").count() == everything


def test_a_number_leads_to_its_notes(page: "Page") -> None:
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    page.click('#figure-reflexes .panel[data-dimension="examiner"] tr[data-group="EX-1"] a')
    rows = page.locator("#notes-reflexes tbody tr:visible")
    assert rows.count() == 4  # by hand: N1 N2 N3 N8


def test_the_filters_work_by_keyboard(page: "Page") -> None:
    page.focus("input[value=examiner]")
    page.keyboard.press("ArrowRight")
    assert page.locator('#figure-reflexes .panel[data-dimension="facility"]').is_visible()


@pytest.mark.parametrize("width", [360, 1200])
def test_the_page_fits_its_window(page: "Page", width: int, tmp_path: Path) -> None:
    page.set_viewport_size({"width": width, "height": 800})
    for dimension in ("examiner", "month"):
        page.check(f"input[value={dimension}]")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
    picture = tmp_path / "report.png"
    page.screenshot(path=str(picture), full_page=True)
    assert picture.stat().st_size > 10_000


def test_everything_stands_open_without_the_script(browser: "Browser", report: Path) -> None:
    context = browser.new_context(java_script_enabled=False)
    opened = context.new_page()
    opened.goto(report.as_uri())
    assert opened.locator('#figure-reflexes .panel[data-dimension="month"]').is_visible()
    assert not opened.locator("#filters").is_visible()
    context.close()


def axe_core() -> Path:
    found = Path(os.environ.get("PLEXOR_PARTS", "")) / "node_modules" / "axe-core" / "axe.min.js"
    if not os.environ.get("PLEXOR_PARTS") or not found.is_file():
        pytest.skip("axe-core is not installed; it is one of the real parts, see PLEXOR_PARTS")
    return found


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_an_accessibility_checker_finds_nothing(browser: "Browser", report: Path, scheme: str) -> None:
    script = axe_core()
    context = browser.new_context(bypass_csp=True, color_scheme="dark" if scheme == "dark" else "light")
    opened = context.new_page()
    opened.goto(report.as_uri())
    opened.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    opened.add_script_tag(path=str(script))
    found = opened.evaluate("axe.run({ resultTypes: ['violations'] })")
    assert [f"{one['id']}: {one['nodes'][0]['html'][:100]}" for one in found["violations"]] == []
    assert len(found["passes"]) > 20  # it did look
    context.close()


def test_the_charts_take_the_colours_of_the_page(browser: "Browser", report: Path) -> None:
    """The values of report.css: blue and sky blue of Okabe and Ito's palette, told apart by all readers."""
    bar = '#figure-exam .panel[data-dimension="examiner"] svg [fill="var(--bar)"]'
    for scheme, colour in (("light", "rgb(0, 114, 178)"), ("dark", "rgb(86, 180, 233)")):
        opened = browser.new_page(color_scheme="dark" if scheme == "dark" else "light")
        opened.goto(report.as_uri())
        assert opened.locator(bar).first.evaluate("one => getComputedStyle(one).fill") == colour
        opened.close()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_report_prints(browser: "Browser", report: Path, scheme: str, tmp_path: Path) -> None:
    """On paper: every table open, no filters, dark ink on white whatever the screen shows."""
    from pypdf import PdfReader

    opened = browser.new_page(color_scheme="dark" if scheme == "dark" else "light")
    opened.goto(report.as_uri())
    opened.check("input[value=facility]")
    opened.pdf(path=str(tmp_path / "report.pdf"), format="A4")
    pages = [page.extract_text().replace("\ufb02", "fl") for page in PdfReader(tmp_path / "report.pdf").pages]
    text = "\n".join(pages)
    assert "For records work, not a diagnosis" in pages[0]
    assert "Compare by" not in text
    assert "With reflexes documented, by facility" in " ".join(text.split())
    assert "UNIT-2 100% 5 5" in text  # by hand: N8 to N10, N12, N13, all with reflexes
    assert "N8 EX-1 UNIT-2 consult 2031-02" in text
    opened.emulate_media(media="print")
    colours = opened.evaluate(
        "[getComputedStyle(document.body).backgroundColor, getComputedStyle(document.body).color]"
    )
    assert colours == ["rgb(255, 255, 255)", "rgb(0, 0, 0)"]
    opened.close()
