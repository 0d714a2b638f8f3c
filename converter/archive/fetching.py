"""Takes found rows out of the database, as texts that hold several columns each.

The database hands over one long text several times faster than many small values. What differs from row to
row travels as one JSON text, and all else as another, of which a search gives few: each is read once, and
rows that say the same share it.
"""

import json
from collections.abc import Iterable
from operator import itemgetter
from typing import Any

from converter.archive.queries import FoundRow

_OF_THE_NOTE = ("system", "id", "patient", "authored", "author", "facility", "note_kind")
_OF_THE_REFLEX = ("site", "side", "basis")
_SAID = {"said_site": "f.site", "said_side": "f.side"}
_OWN = (*_OF_THE_NOTE, "finding", "as_written", "start_offset", "end_offset", "quote")
_SHARED = tuple(name for name in FoundRow._fields if name not in _OWN)
_in_order = itemgetter(*((*_OWN, *_SHARED).index(name) for name in FoundRow._fields))
_MOST_SHARED = 10_000
"""Texts that are remembered at most, so that memory stays flat."""


def _columns(names: Iterable[str]) -> str:
    return ", ".join(
        f"n.{name}" if name in _OF_THE_NOTE
        else f"seen.{name}" if name in _OF_THE_REFLEX
        else _SAID.get(name, f"f.{name}")
        for name in names
    )  # fmt: skip


TEXTS = f"json_array({_columns(_OWN)}) AS own, json_array({_columns(_SHARED)}) AS shared"
"""The columns of found rows, as SQL over a note `n`, a finding `f`, and the reflex and side `seen`."""


def rows_of(page: Iterable[tuple[str, str]], known: dict[str, list[Any]]) -> list[FoundRow]:
    """The rows whose texts a page holds.

    Args:
        page: the texts of each row, as `TEXTS` makes them.
        known: shared texts that were read before; grows.
    """
    own, shared = zip(*page, strict=True)
    if len(known) > _MOST_SHARED:
        known.clear()
    for text in set(shared).difference(known):
        known[text] = _read(text)
    values = zip(_read(f"[{','.join(own)}]"), shared, strict=True)
    return [FoundRow._make(_in_order(mine + known[text])) for mine, text in values]


def _read(text: str) -> list[Any]:
    import orjson

    try:
        values: list[Any] = orjson.loads(text)
    except orjson.JSONDecodeError:
        values = json.loads(text)  # a grade that is no number, which JSON itself does not know
    return values
