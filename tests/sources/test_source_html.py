"""HTML keeps its words and its layout, runs nothing, and says what it leaves out."""

from pathlib import Path

import pytest
from hanging import ends_soon
from note_files import codes, only, read, write

from converter.model import Severity
from converter.sources.hypertext import text_of_html


def text_of(page: str) -> str:
    return text_of_html(page, "a.html")[0]


@pytest.mark.parametrize(
    ("page", "text"),
    [
        ("<p>KJ 2+<p>AJ 1+", "KJ 2+\nAJ 1+"),
        ("<div>KJ<div>2+</div></div>AJ", "KJ\n2+\nAJ"),
        ("KJ<br>2+<br/>AJ", "KJ\n2+\nAJ"),
        ("<ul><li>KJ 2+<li>AJ 1+</ul>", "• KJ 2+\n• AJ 1+"),
        ("<pre>KJ   2+\n  AJ 1+</pre>", "KJ   2+\n  AJ 1+"),
        ("<span>KJ</span><b> 2</b>+", "KJ 2+"),
        ("&lt;2+ &amp;&nbsp;&#x2193; &unknown; &copy AT&T", "<2+ &\xa0↓ &unknown; © AT&T"),
        ("KJ <2+ and >1", "KJ <2+ and >1"),
        ("<script>KJ</script><style>AJ</style><!-- BJ -->TJ", "TJ"),
        ("<table><tr><td>KJ<td>2+<tr><td>AJ<td>1+</table>", "| KJ | 2+ |\n| AJ | 1+ |"),
        ("<table><td>KJ</td><td>2+</td></table>after", "| KJ | 2+ |\nafter"),
        (
            "<table><tr><td>Reflexes<table><tr><td>KJ</td><td>2+</td></tr></table></td></tr></table>",
            "Reflexes\n| KJ | 2+ |",
        ),
        ("<dl><dt>KJ<dd>2+</dl>", "KJ\n2+"),
        ("<td>KJ</td><td>2+</td>", "KJ2+"),
        ("<table><caption>Reflexes</caption><tr><td>KJ</td><td>2+</td></tr>", "Reflexes\n| KJ | 2+ |"),
        ("<![CDATA[KJ]]> 2+", "KJ 2+"),
    ],
)
def test_layout(page: str, text: str) -> None:
    assert text_of(page) == text


@pytest.mark.parametrize("tag", ["del", "s", "strike"])
def test_struck_out_wording_is_left_out_and_said(tmp_path: Path, tag: str) -> None:
    (note,), troubles = read(write(tmp_path / "a.html", f"<html><p>KJ <{tag}>4+</{tag}> 2+</html>"))
    assert note.text == "KJ 2+"
    only(troubles, "struck-out", Severity.WARNING)


def test_pictures_and_form_fields_are_said(tmp_path: Path) -> None:
    page = '<html><img src="http://127.0.0.1:9/x.png"><input value="2+">KJ</html>'
    (note,), troubles = read(write(tmp_path / "a.html", page))
    assert note.text == "KJ"
    assert "(2)" in only(troubles, "not-text", Severity.WARNING).message


@pytest.mark.parametrize("tag", ["script", "style", "del", "template"])
def test_an_element_that_never_ends_is_an_error(tmp_path: Path, tag: str) -> None:
    (note,), troubles = read(write(tmp_path / "a.html", f"<html><p>KJ 2+</p><{tag}>AJ 1+<p>TJ 2+</html>"))
    assert note.text == "KJ 2+"
    assert codes(troubles)[-1] == "element-without-end"


@pytest.mark.parametrize("encoding", ["utf-8", "windows-1252", "iso-8859-1"])
def test_the_encoding_that_a_page_names_is_used(tmp_path: Path, encoding: str) -> None:
    page = f'<!doctype html><html><meta charset="{encoding}"><p>Réflexe 2+'
    (note,), troubles = read(write(tmp_path / "a.html", page.encode(encoding)))
    assert (note.text, troubles) == ("Réflexe 2+", [])


def test_an_encoding_that_does_not_exist_is_no_trouble(tmp_path: Path) -> None:
    for name in ("nonsense", "hex", "unicode_escape", "utf-16"):
        (note,), _ = read(write(tmp_path / "a.html", f'<html><meta charset="{name}"><p>KJ 2+'))
        assert note.text == "KJ 2+"


@pytest.mark.parametrize(
    "page",
    ["<div>" * 200_000 + "KJ", "<" * 100_000, "<table><tr><td>" * 3_000, "<!--" * 20_000, "&" * 200_000,
     "<table><tr><td rowspan=1000 colspan=50>" * 300, "</td>" * 100_000, "<a \"'>" * 100_000,
     "<![CDATA[" * 50_000, "<?" * 100_000, "<script>" * 50_000, "&#x" * 100_000],
)  # fmt: skip
def test_hostile_pages_end(page: str) -> None:
    with ends_soon():
        text_of(page)
