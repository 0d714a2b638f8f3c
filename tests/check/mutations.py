"""Seeded faults in good resources: something deleted, doubled, retyped, misspelt, miscoded or out of order.

Takes our shipped examples that pass; gives changed copies, each with a word on what was done. The same seed
gives the same faults.
"""

import copy
import json
from collections.abc import Callable, Iterator
from random import Random
from typing import Any

from lxml import etree

from converter.shipped_files import profiles_folder

Json = dict[str, Any]
Place = tuple[Any, Any]
"""A container and the key or index in it."""


def good_resources() -> list[tuple[str, Json]]:
    """Name and content of each shipped example that passes, without its claim to a profile."""
    found = []
    for file in sorted((profiles_folder() / "examples" / "pass").glob("*.json")):
        resource = json.loads(file.read_text(encoding="utf-8"))
        found.append((file.stem, _unclaimed(resource)))
    assert found
    return found


def mutated(count: int, seed: int) -> Iterator[tuple[str, Json]]:
    """So many faulty resources with what was done to each."""
    random = Random(seed)
    resources = good_resources()
    for number in range(count):
        name, resource = resources[number % len(resources)]
        changed = copy.deepcopy(resource)
        change = random.choice(_CHANGES)
        what = change(random, changed)
        yield f"{number} {name}: {change.__name__.removeprefix('_')} {what}", changed


def mutated_xml(count: int, seed: int) -> Iterator[tuple[str, bytes]]:
    """So many faulty XML documents with what was done to each."""
    from converter.fhir import xml_text

    random = Random(seed)
    resources = [(name, xml_text(one).encode()) for name, one in good_resources()]
    for number in range(count):
        name, text = resources[number % len(resources)]
        root = etree.fromstring(text)
        change = random.choice(_XML_CHANGES)
        what = change(random, root)
        yield f"{number} {name}: {change.__name__.removeprefix('_xml_')} {what}", etree.tostring(root)


def _unclaimed(value: Any) -> Any:
    if isinstance(value, dict):
        kept = {key: _unclaimed(one) for key, one in value.items()}
        if "resourceType" in kept and "meta" in kept:
            kept["meta"].pop("profile", None)
            kept = {key: one for key, one in kept.items() if key != "meta" or one}
        return kept
    return [_unclaimed(one) for one in value] if isinstance(value, list) else value


def _places(value: Any) -> Iterator[Place]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, one in items:
        if key != "resourceType":
            yield value, key
            yield from _places(one)


def _some(random: Random, resource: Json, wanted: Callable[[Any, Any], bool]) -> Place:
    return random.choice([(holder, key) for holder, key in _places(resource) if wanted(key, holder[key])])


def _deleted(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: True)
    del holder[key]
    return str(key)


def _doubled(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: isinstance(key, str))
    value = holder[key]
    holder[key] = (
        [*value, *copy.deepcopy(value)] if isinstance(value, list) else [value, copy.deepcopy(value)]
    )
    return str(key)


def _retyped(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: True)
    others: list[Any] = ["text", 7, 1.5, True, {"text": "a"}, ["a"], {"coding": [{"code": "a"}]}]
    holder[key] = random.choice([one for one in others if type(one) is not type(holder[key])])
    return f"{key} to {holder[key]!r}"


def _misspelt(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: isinstance(key, str) and len(key) > 2)
    place = random.randrange(len(key) - 1)
    wrong = key[:place] + key[place + 1] + key[place] + key[place + 2 :]
    wrong = wrong if wrong != key else f"{key}x"
    holder[wrong] = holder.pop(key)
    return f"{key} as {wrong}"


def _miscoded(random: Random, resource: Json) -> str:
    bound = ("status", "use", "type", "method", "mode", "contentType", "system", "comparator", "language")
    holder, key = _some(random, resource, lambda key, value: key in bound and isinstance(value, str))
    holder[key] = random.choice(["no-such-code", "Final", "a  b", " "])
    return f"{key} as {holder[key]!r}"


def _misformed(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: isinstance(value, str))
    holder[key] = random.choice(
        ["", " ", "a b", "2024-02-30", "2024-13", "12:00", "not a date", "_", "x" * 70]
    )
    return f"{key} as {holder[key]!r}"


def _emptied(random: Random, resource: Json) -> str:
    holder, key = _some(random, resource, lambda key, value: isinstance(value, dict | list))
    holder[key] = type(holder[key])()
    return str(key)


_CHANGES = (_deleted, _doubled, _retyped, _misspelt, _miscoded, _misformed, _emptied)


def _element(random: Random, root: Any, wanted: Callable[[Any], bool]) -> Any:
    inside = [
        one for one in root.iter() if one is not root and isinstance(one.tag, str) and "xhtml" not in one.tag
    ]
    return random.choice([one for one in inside if wanted(one)])


def _xml_deleted(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: True)
    one.getparent().remove(one)
    return str(one.tag)


def _xml_doubled(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: True)
    one.addnext(copy.deepcopy(one))
    return str(one.tag)


def _xml_moved(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: len(one.getparent()) > 1)
    parent = one.getparent()
    parent.remove(one)
    parent.insert(random.randrange(len(parent) + 1), one)
    return str(one.tag)


def _xml_renamed(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: True)
    old, one.tag = one.tag, f"{one.tag}x"
    return str(old)


def _xml_misformed(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: "value" in one.attrib)
    one.set("value", random.choice(["", " ", "a b", "2024-02-30", "not a date", "Final", "1.2.3", "x" * 70]))
    return f"{one.tag} as {one.get('value')!r}"


def _xml_attributed(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: True)
    one.set(random.choice(["colour", "value", "url"]), "a")
    return str(one.tag)


def _xml_texted(random: Random, root: Any) -> str:
    one = _element(random, root, lambda one: True)
    one.tail = "stray"
    return str(one.tag)


_XML_CHANGES = (
    *(_xml_deleted, _xml_doubled, _xml_moved, _xml_renamed),
    *(_xml_misformed, _xml_attributed, _xml_texted),
)
