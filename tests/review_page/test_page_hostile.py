"""Notes and names that mean harm are shown as the characters they are, and no more."""

import time
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from page_browser import watched
from page_server import archive_of, decisions_in, desk_of, opened

from converter.review_page.pages import Asked, Pages

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytest.importorskip("uvicorn", reason="the review page needs plexor[review]")

SCRIPT = "<script>document.title='taken'</script>"
HOSTILE = (
    f"{SCRIPT}<img src=x onerror=alert(1)>\"'><svg onload=alert(2)></div></main>{{{{ 7*7 }}}}"
    "<a href='javascript:alert(3)'>x</a><style>*{display:none}</style><!-- <base href=//attacker.example>\n"
    "R KJ 1+, \u202eR KJ 3+\u202c. \x00\x1b[31m\u200b\u2066 DTRs <b>puzzled</b> us &amp; &lt;them&gt;."
)


def test_a_hostile_note_is_shown_as_its_characters(browser: "Browser", tmp_path: Path) -> None:
    archive = archive_of(tmp_path, {f"<i>{SCRIPT}</i>\u202e": HOSTILE})
    with opened(archive, "R-<b>1</b>") as running, watched(browser, running.address) as page:
        page.keyboard.press("n")
        page.wait_for_selector("#note")
        assert page.title() != "taken"
        assert (
            page.locator("main script, main img, main svg, main style, main base, main b, #note a").count()
            == 0
        )
        text = page.inner_text("#note")
        assert SCRIPT in text
        assert "{{ 7*7 }}" in text
        assert "&amp; &lt;them&gt;" in text
        assert {"U+202E", "U+0000", "U+001B", "U+200B", "U+2066"} <= set(
            page.eval_on_selector_all("#note .hidden-character", "all => all.map(one => one.textContent)")
        )
        everything = page.content()
        assert not any(mark in everything for mark in "\u202e\u2066\u200b\x00\x1b")
        assert "R-<b>1</b>" in page.inner_text(".who")
        page.keyboard.press("c")
        page.wait_for_selector("text=Saved: Confirmed")
        assert "U+202E" in page.inner_text("h2#note-title")
        page.goto(f"{running.address}decisions")
        assert SCRIPT in page.inner_text("main")
    assert [one.verdict for one in decisions_in(archive)] == ["confirmed"]


def test_a_note_of_a_megabyte_opens_quickly_and_whole_when_asked(browser: "Browser", tmp_path: Path) -> None:
    filler = "word " * 110_000
    archive = archive_of(tmp_path, {"big": f"{filler}\nR KJ 1+, R KJ 3+.\n{filler}"})
    with opened(archive) as running, watched(browser, running.address) as page:
        page.keyboard.press("n")
        page.wait_for_selector("text=The note is long")
        assert len(page.inner_text("#note")) < 20_000
        assert "R KJ 3+" in page.inner_text("#note mark >> nth=1")
        page.click("text=Show all of it")
        page.wait_for_load_state()
        page.wait_for_selector("text=The note is long", state="detached")
        assert len(str(page.text_content("#note"))) > 1_000_000
        page.keyboard.press("c")
        page.wait_for_selector("text=Saved: Confirmed")


@pytest.mark.parametrize(
    "text", ["\x00" * 100_000, "KJ 2+ " * 3_000, "\u0335" * 50_000, "\u202e" * 50_000 + "DTRs odd"]
)
def test_a_page_is_bounded_whatever_the_note_holds(tmp_path: Path, text: str) -> None:
    archive = archive_of(tmp_path, {"n": f"R KJ 1+, R KJ 3+. {text}"})
    desk = desk_of(archive)
    began = time.process_time()
    answer = Pages(desk, "/t").question(Asked(name=desk.questions[0].question))
    assert answer.status == 200
    assert len(answer.html) < 3_000_000
    assert time.process_time() - began < 60  # bounded at all, not fast: speed is measured elsewhere
    assert "\x00" not in answer.html


def test_an_archive_without_words_says_what_can_be_judged(browser: "Browser", tmp_path: Path) -> None:
    archive = archive_of(tmp_path, quotes=False)
    with opened(archive) as running, watched(browser, running.address) as page:
        said = " ".join(page.inner_text("main").split())
        assert "This archive keeps no words of the notes." in said
        assert "You can confirm, correct or reject what was read" in said
        assert "1 question about unread wording is left out." in said
        page.keyboard.press("n")
        place = "note RV-1, finding 1 at characters 7 to 14"
        page.wait_for_selector(f"text=Look it up in its own system (urn:example:notes): {place}")
        assert page.locator("#note").count() == 0
        assert page.locator("[data-key=a]").count() == 0
        page.keyboard.press("e")
        page.wait_for_selector("#field-side")
        assert page.locator("#field-words").count() == 0
        page.check("input[value=left]")
        page.keyboard.press("Control+Enter")
        page.wait_for_selector("text=Saved: Corrected: Patellar reflex, left: 1")
    (saved,) = decisions_in(archive)
    assert saved.finding is not None
    assert (saved.finding.side, saved.finding.quote, saved.finding.as_written) == ("left", "", None)
