"""The quick way for the parts of an extension, and for plain narratives, changes no verdict."""

import copy
import json
from collections.abc import Callable
from typing import Any

import pytest
from check_helpers import errors
from hypothesis import given
from hypothesis import strategies as st

from converter.check import Checker, load_definitions, slicing, xhtml
from converter.shipped_files import profiles_folder

Json = dict[str, Any]


def finding() -> Json:
    file = profiles_folder() / "examples" / "pass" / "finding-graded.json"
    resource: Json = json.loads(file.read_text(encoding="utf-8"))
    return resource


def words(resource: Json) -> list[Json]:
    found = next(one for one in resource["extension"] if one["url"].endswith("source-words"))
    parts: list[Json] = found["extension"]
    return parts


CHANGES: tuple[Callable[[list[Any], int], object], ...] = (
    lambda parts, n: parts.append(copy.deepcopy(parts[n])),
    lambda parts, n: parts.pop(n),
    lambda parts, n: parts[n].update(url="elsewhere"),
    lambda parts, n: parts[n].update(id="a"),
    lambda parts, n: parts[n].update(valueInteger=-1),
    lambda parts, n: parts[n].update(valueInteger="7"),
    lambda parts, n: parts[n].update(valueInteger=True),
    lambda parts, n: parts[n].update(valueString=""),
    lambda parts, n: parts[n].update(valueString=None),
    lambda parts, n: parts[n].update(valueBoolean=False),
    lambda parts, n: parts[n].update(colour="red"),
    lambda parts, n: parts[n].update(extension=[]),
    lambda parts, n: parts.__setitem__(n, None),
    lambda parts, n: parts.__setitem__(n, "text"),
    lambda parts, n: parts.__setitem__(n, {"url": parts[n]["url"]}),
    lambda parts, n: parts.__setitem__(n, {"url": parts[n]["url"], "valueInteger": 3.5}),
)


def changed() -> list[Json]:
    """A finding with each part of its source words changed in many ways."""
    found = []
    for index in range(len(words(finding()))):
        for change in CHANGES:
            resource = finding()
            change(words(resource), index)
            found.append(resource)
    return found


def test_parts_are_found_faulty_with_and_without_the_quick_way(monkeypatch: pytest.MonkeyPatch) -> None:
    quick = Checker(load_definitions())
    said = [quick.check(one) for one in changed()]
    monkeypatch.setattr(slicing, "leaf_of", lambda shapes, slot: None)
    slow = Checker(load_definitions())
    assert [slow.check(one) for one in changed()] == said
    assert sum(bool(errors(one)) for one in said) > len(said) / 2


PIECES = st.lists(
    st.sampled_from(
        [
            "<p>",
            "</p>",
            "<ul>",
            "<li>",
            "</li>",
            "</ul>",
            "<h2>",
            "</h2>",
            "a",
            " ",
            "&amp;",
            "&",
            "]]>",
            "\x0b",
        ]
    ),
    max_size=9,
).map("".join)


@given(
    st.one_of(PIECES, PIECES.map(lambda text: f"<p>{text}</p>"), st.text(max_size=9).map("<p>{}</p>".format))
)
def test_a_plain_narrative_is_what_the_parser_takes(inside: str) -> None:
    text = f'<div xmlns="http://www.w3.org/1999/xhtml">{inside}</div>'
    if xhtml.is_plain(text):
        assert xhtml.parsed_by_library(text) == (None, True)


def test_our_own_narratives_are_plain() -> None:
    assert xhtml.is_plain(finding()["text"]["div"])
