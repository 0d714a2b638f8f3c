"""The page in a real browser: by keyboard alone, reloaded, undone, narrow and wide, light and dark."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from page_browser import watched
from page_server import NOTES, Served, archive_of, decisions_in, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytest.importorskip("uvicorn", reason="the review page needs plexor[review]")
WIDE = {"width": 1280, "height": 800}


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A page that is only looked at."""
    with opened(archive_of(tmp_path_factory.mktemp("quiet"))) as running:
        yield running


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    return archive_of(tmp_path)


@pytest.fixture
def page(browser: "Browser", archive: Path) -> "Iterator[Page]":
    """A page on which decisions are made."""
    with opened(archive) as running, watched(browser, running.address, viewport=WIDE) as shown:
        yield shown


def press(page: "Page", *keys: str) -> None:
    for key in keys:
        page.keyboard.press(key)


def go(page: "Page", key: str, expected: str) -> None:
    """Press a key that leads on, and wait until what is expected stands on the page."""
    page.keyboard.press(key)
    page.wait_for_selector(f"text={expected}")
    page.wait_for_load_state()


def test_everything_by_keyboard_alone(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    go(page, "c", "Saved: Confirmed: Patellar reflex, right: 1+")
    go(page, "e", "Correct: Patellar reflex, right: 3+")
    press(page, "Tab", "ArrowLeft")  # from the reflex to its side: right becomes left
    press(page, "Tab")
    page.keyboard.press("Control+A")
    page.keyboard.type("2")
    go(page, "Enter", "Saved: Corrected: Patellar reflex, left: 2.")
    go(page, "r", "Saved: Rejected: Hoffmann sign, left: present.")  # the next note: a doubt
    go(page, "r", "Saved: No finding here")  # the last note: unread wording
    go(page, "a", "Add a finding that was missed")
    assert page.input_value("#field-words") == "ankle jerk zibbled"
    press(page, "Tab")
    page.keyboard.type("Achilles")
    press(page, "Tab", "Space", "Tab")
    page.keyboard.type("absent")
    go(page, "Control+Enter", "Saved: Added: Achilles reflex, left: absent.")
    go(page, "u", "Undone: Added")
    go(page, "u", "Undone: No finding here")
    verdicts = [(one.verdict, one.undone_at is not None) for one in decisions_in(archive)]
    assert verdicts == [
        ("confirmed", False), ("corrected", False), ("rejected", False),
        ("no_finding", True), ("added", True),
    ]  # fmt: skip
    corrected = decisions_in(archive)[1].finding
    assert corrected is not None
    assert (corrected.site, corrected.side, corrected.grade_low, corrected.level) == (
        "patellar",
        "left",
        2,
        "normal",
    )


def test_reloading_and_going_back_decide_nothing_twice(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    go(page, "c", "Saved: Confirmed")
    page.reload()
    page.wait_for_selector("text=Confirmed")
    page.go_back()
    page.wait_for_selector("text=These values do not agree")
    page.reload()
    assert page.locator(".card.settled").count() == 1
    assert len(decisions_in(archive)) == 1


def test_a_key_pressed_twice_in_haste_decides_once(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    page.evaluate("""() => { const b = document.querySelector('[data-key="c"]'); b.click(); b.click(); }""")
    page.wait_for_selector("text=Saved: Confirmed")
    assert len(decisions_in(archive)) == 1


def test_a_key_never_decides_on_a_finding_that_is_not_in_question(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    go(page, "c", "Saved: Confirmed: Patellar reflex, right: 1+")
    press(page, "1")  # the place that is settled; other findings of the note wait below
    press(page, "c", "r", "e")
    page.wait_for_timeout(500)
    assert "correct" not in page.url
    assert len(decisions_in(archive)) == 1


def test_words_marked_in_the_note_are_filled_in(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    page.evaluate(
        """() => {
          const text = [...document.querySelectorAll('#note span')].map(one => one.firstChild)
            .find(one => one.data.includes('AJ 2+'));
          const start = text.data.indexOf('AJ 2+');
          getSelection().setBaseAndExtent(text, start, text, start + 5);
        }"""
    )
    go(page, "a", "Add a finding that was missed")
    assert page.input_value("#field-words") == "AJ 2+"
    page.select_option("#field-reflex", "achilles")
    page.check("input[value=right]")
    page.fill("#field-value", "2+")
    go(page, "Control+Enter", "Saved: Added: Achilles reflex, right: 2+.")
    added = decisions_in(archive)[0].finding
    assert added is not None
    assert added.start == NOTES["RV-1"].index("AJ 2+")


def test_a_mistake_is_told_and_has_the_focus(page: "Page", archive: Path) -> None:
    go(page, "n", "These values do not agree")
    go(page, "e", "Correct: Patellar")
    page.fill("#field-value", "purple")
    go(page, "Control+Enter", "Not saved yet")
    assert page.evaluate("document.activeElement.getAttribute('role')") == "alert"
    assert page.get_attribute("#field-value", "aria-invalid") == "true"
    assert page.input_value("#field-value") == "purple"
    assert decisions_in(archive) == []


def test_keys_can_be_listed_and_switched_off(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address, viewport=WIDE) as page:
        page.keyboard.press("?")
        assert page.locator("dialog").is_visible()
        page.uncheck("#letters")
        page.keyboard.press("Escape")
        assert not page.locator("dialog").is_visible()
        page.keyboard.press("n")
        page.wait_for_timeout(300)
        assert "question" not in page.url
        page.keyboard.press("?")
        page.check("#letters")
        page.keyboard.press("Escape")
        go(page, "n", "These values do not agree")


def test_the_keys_that_are_listed_are_the_keys_that_there_are(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address, viewport=WIDE) as page:
        listed = set(page.eval_on_selector_all("dialog kbd", "all => all.map(one => one.textContent)"))
        used: set[str] = set()
        for path in ("/", quiet.question("contradiction"), quiet.question("unread")):
            page.goto(f"{quiet.origin}{quiet.base}{path}")
            used |= set(page.eval_on_selector_all("[data-key]", "all => all.map(one => one.dataset.key)"))
        names = {key.upper() for key in used if len(key) == 1}
        assert names - {"?"} <= listed


def test_what_was_saved_is_announced(page: "Page") -> None:
    go(page, "n", "These values do not agree")
    assert page.evaluate("document.activeElement.tagName") == "H1"
    go(page, "c", "Saved: Confirmed")
    page.wait_for_selector('[role=status]:has-text("settled")', state="attached")
    said = page.inner_text("[role=status]")
    assert "Saved: Confirmed: Patellar reflex, right: 1+. 0 of 3 settled, 3 left" in said


def test_letters_typed_into_a_field_are_letters(browser: "Browser", quiet: Served) -> None:
    with watched(browser, f"{quiet.origin}{quiet.base}{quiet.question('unread')}", viewport=WIDE) as page:
        go(page, "a", "Add a finding that was missed")
        page.fill("#field-words", "")
        page.keyboard.type("cerano?du")
        assert page.input_value("#field-words") == "cerano?du"


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [320, 390, 640, 1280])
def test_the_page_fits_its_window(
    browser: "Browser", quiet: Served, scheme: str, width: int, tmp_path: Path
) -> None:
    """320 pixels are 1280 at 400 %, 640 are 1280 at 200 % (WCAG 2.2, 1.4.10 and 1.4.4)."""
    how = {"viewport": {"width": width, "height": 800}, "color_scheme": scheme}
    paths = ("/", "/decisions", quiet.question("contradiction"), f"{quiet.question('unread')}/add")
    with watched(browser, quiet.address, **how) as page:
        for number, path in enumerate(paths):
            page.goto(f"{quiet.origin}{quiet.base}{path}")
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            picture = tmp_path / f"{scheme}-{width}-{number}.png"
            page.screenshot(path=str(picture), full_page=True)
            assert picture.stat().st_size > 5_000


def test_without_the_script_the_buttons_work(browser: "Browser", archive: Path) -> None:
    with opened(archive) as running:
        context = browser.new_context(java_script_enabled=False)
        page = context.new_page()
        page.goto(running.address)
        page.click("text=Begin")
        page.click("button >> text=Confirm >> nth=0")
        page.wait_for_selector("text=Saved: Confirmed")
        context.close()
    assert len(decisions_in(archive)) == 1


def test_the_place_in_question_is_in_sight_in_a_long_note(browser: "Browser", tmp_path: Path) -> None:
    filler = "He slept well and ate his breakfast. \n" * 400
    archive = archive_of(tmp_path, {"long": f"{filler}R KJ 1+, R KJ 3+.\n{filler}"})
    with opened(archive) as running, watched(browser, running.address, viewport=WIDE) as page:
        go(page, "n", "These values do not agree")
        note = page.locator("#note").bounding_box()
        mark = page.locator("#note mark").first.bounding_box()
        assert note is not None
        assert mark is not None
        assert note["y"] <= mark["y"] <= note["y"] + note["height"]
