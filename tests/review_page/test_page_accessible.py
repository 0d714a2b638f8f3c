"""Whether people with a screen reader, a keyboard or other eyes can use the page.

axe-core (npm, MPL-2.0) checks those rules of WCAG 2.2 A and AA that a program can. Others are checked here
one by one: names of landmarks, the order of the focus, a focus that can be seen, marks that need no colour.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from page_browser import watched
from page_server import Served, archive_of, opened

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

pytest.importorskip("uvicorn", reason="the review page needs plexor[review]")
TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
RUN = "tags => axe.run({ runOnly: { type: 'tag', values: tags }, resultTypes: ['violations'] })"
PAGES = ("/", "/decisions", "contradiction", "doubt", "unread", "correct", "add", "mistake")


@pytest.fixture(scope="module")
def quiet(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    with opened(archive_of(tmp_path_factory.mktemp("accessible"))) as running:
        yield running


@pytest.fixture(scope="module")
def axe() -> str:
    folder = os.environ.get("PLEXOR_PARTS")
    if not folder:
        pytest.skip("PLEXOR_PARTS is not set: axe-core is not at hand")
    script = Path(folder) / "node_modules/axe-core/axe.min.js"
    if not script.is_file():
        pytest.skip("PLEXOR_PARTS holds no axe-core")
    return script.read_text(encoding="utf-8")


def shown(page: "Page", quiet: Served, name: str) -> None:
    """Go to one of PAGES."""
    if name.startswith("/"):
        page.goto(f"{quiet.origin}{quiet.base}{name}")
        return
    kind = "unread" if name == "add" else "contradiction" if name in ("correct", "mistake") else name
    page.goto(f"{quiet.origin}{quiet.base}{quiet.question(kind)}")
    if name in ("correct", "mistake", "add"):
        page.click(f"[data-key={'a' if name == 'add' else 'e'}]")
    if name == "mistake":
        page.fill("#field-value", "purple")
        page.click("[data-saves]")
        page.wait_for_selector("text=Not saved yet")


@pytest.mark.parametrize("name", PAGES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_rule_of_wcag_is_broken(
    browser: "Browser", quiet: Served, axe: str, name: str, scheme: str
) -> None:
    with watched(browser, quiet.address, color_scheme=scheme) as page:
        shown(page, quiet, name)
        if name == "contradiction":
            page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
        page.evaluate(axe)  # by the debugger: the page itself allows no foreign script
        found: dict[str, Any] = page.evaluate(RUN, TAGS)
        broken = {one["id"]: [node["html"] for node in one["nodes"]] for one in found["violations"]}
        assert broken == {}
        assert len(found["passes"]) > 15


def test_the_checker_would_find_a_fault(browser: "Browser", quiet: Served, axe: str) -> None:
    with watched(browser, quiet.address) as page:
        page.evaluate("document.querySelector('html').removeAttribute('lang')")
        page.evaluate(axe)
        found = page.evaluate("() => axe.run()")
        assert "html-has-lang" in {one["id"] for one in found["violations"]}


def test_the_list_of_keys_is_a_named_dialog(browser: "Browser", quiet: Served, axe: str) -> None:
    with watched(browser, quiet.address) as page:
        page.keyboard.press("?")
        page.evaluate(axe)
        found = page.evaluate(RUN, TAGS)
        assert [one["id"] for one in found["violations"]] == []
        assert page.get_by_role("dialog", name="Keys").is_visible()
        assert page.evaluate("document.activeElement.textContent") == "Close"


def test_landmarks_and_headings_have_names(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address) as page:
        shown(page, quiet, "contradiction")
        for role, name in (
            ("banner", None), ("navigation", "Review"), ("main", None), ("contentinfo", None),
            ("region", "What was read"), ("region", "Note RV-1"), ("progressbar", "0 of 3 settled, 3 left"),
            ("article", "1 Patellar reflex, right: 1+"), ("article", "2 Patellar reflex, right: 3+"),
        ):  # fmt: skip
            assert page.get_by_role(role, name=name).count() == 1, (role, name)  # type: ignore[arg-type]
        assert page.get_by_role("heading", level=1).count() == 1


def test_each_button_says_which_finding_it_is_about(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address) as page:
        shown(page, quiet, "contradiction")
        told = page.eval_on_selector_all(
            "[data-number] [data-key=c]",
            """all => all.map(one => one.getAttribute('aria-describedby'))
                 .map(name => document.getElementById(name).textContent)""",
        )
        assert [" ".join(one.split()) for one in told] == [
            "1 Patellar reflex, right: 1+", "2 Patellar reflex, right: 3+",
        ]  # fmt: skip


def test_the_focus_goes_down_the_page_and_can_be_seen(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address, viewport={"width": 1280, "height": 900}) as page:
        shown(page, quiet, "contradiction")
        page.focus(".skip")
        order = []
        for _ in range(12):
            page.keyboard.press("Tab")
            told = page.evaluate(
                """() => { const one = document.activeElement, style = getComputedStyle(one);
                  const said = one.textContent.trim().split(/\\s+/)[0];
                  return [said, one.id, style.outlineStyle, parseFloat(style.outlineWidth)]; }"""
            )
            order.append(told[0])
            assert told[2] == "solid", told
            assert told[3] >= 3, told
        places = ["Confirm", "Edit", "Reject"]
        assert order[:10] == ["Overview", "Decisions", "Keys", *places, *places, "Confirm"]


def test_marks_are_told_apart_without_colour(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address) as page:
        shown(page, quiet, "contradiction")
        looks = page.eval_on_selector_all(
            ".legend > *",
            """all => all.map(one => { const style = getComputedStyle(one);
              const line = [style.textDecorationLine, style.textDecorationStyle];
              return [...line, style.outlineStyle].join(' '); })""",
        )
        assert len(set(looks)) == len(looks) == 3


def test_colours_can_be_forced(browser: "Browser", quiet: Served) -> None:
    with watched(browser, quiet.address, forced_colors="active") as page:
        shown(page, quiet, "contradiction")
        assert page.evaluate("getComputedStyle(document.querySelector('#note mark')).outlineStyle") == "solid"
