"""Joins words, scales, descriptors and reflexes, ours and a site's own, into one checked Vocabulary.

Takes files in the shipped formats; gives a Vocabulary with a fingerprint of all it holds. A collision between
two files is an error that shows both places, unless the later row says `override`.
"""

import hashlib
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from converter.model import Diagnostic
from converter.words.cells import CellWords, shipped_cells
from converter.words.phrases import PhraseTree, tokens_of, wordings
from converter.words.spelling import Spelling
from converter.words.tables import (
    Descriptor,
    Grade,
    Reflex,
    Scale,
    add_own_table,
    read_table,
    shipped_descriptors,
    shipped_reflexes,
    shipped_scales,
)
from converter.words.word_lists import ROLES, Word, meaning_problems, read_word_list, tree_of

__all__ = [
    "ROLES",
    "SHIPPED",
    "Descriptor",
    "Grade",
    "Reflex",
    "Scale",
    "Vocabulary",
    "VocabularyError",
    "Word",
    "gathered",
    "load_vocabulary",
    "read_table",
    "shipped_vocabulary",
]

SHIPPED = Path(__file__).parent
_TABLE = ".toml"


class VocabularyError(ValueError):
    """A data file cannot be used; the message names the file and the line."""


@dataclass(frozen=True, slots=True, eq=False)
class Vocabulary:
    """Everything the program knows about wording, read from data.

    Attributes:
        words: finds the longest known wording at a token.
        rows: every row of the word lists, in order of loading.
        scales: by scale id.
        descriptors: by canonical word.
        reflexes: by site.
        spelling: finds what a misspelt word stands for.
        cells: words that say something only in a cell of a table.
        fingerprint: first 16 hexadecimal digits of a SHA-256 over all loaded data.
    """

    words: PhraseTree[Word]
    rows: tuple[Word, ...]
    scales: Mapping[str, Scale]
    descriptors: Mapping[str, Descriptor]
    reflexes: Mapping[str, Reflex]
    spelling: Spelling
    cells: CellWords
    fingerprint: str

    def __reduce__(self) -> Any:
        """Travels whole, so that a site's files are read once, by whoever begins a run."""
        tables = (dict(self.scales), dict(self.descriptors), dict(self.reflexes))
        return _arrived, (self.words, self.rows, *tables, self.spelling, self.cells, self.fingerprint)


def _arrived(
    words: PhraseTree[Word],
    rows: tuple[Word, ...],
    scales: dict[str, Scale],
    descriptors: dict[str, Descriptor],
    reflexes: dict[str, Reflex],
    spelling: Spelling,
    cells: CellWords,
    fingerprint: str,
) -> Vocabulary:
    return Vocabulary(
        words=words,
        rows=rows,
        scales=MappingProxyType(scales),
        descriptors=MappingProxyType(descriptors),
        reflexes=MappingProxyType(reflexes),
        spelling=spelling,
        cells=cells,
        fingerprint=fingerprint,
    )


def load_vocabulary(local_files: Iterable[Path] = (), without: frozenset[str] = frozenset()) -> Vocabulary:
    """Load the shipped data and a site's own word lists, scales and reflexes.

    The shipped data alone is loaded once, and whoever asks for it gets the same.

    Args:
        local_files: files in the formats of the shipped ones, added to ours: `.csv` for word lists, `.toml`
            for scales and reflexes.
        without: `place`s of rows to leave out, for tests that take a row away.

    Raises:
        VocabularyError: a file cannot be read, an entry is wrong, or two rows claim one wording.
    """
    local = tuple(local_files)
    return _loaded(local, without) if local or without else shipped_vocabulary()


def _loaded(local: tuple[Path, ...], without: frozenset[str]) -> Vocabulary:
    vocabulary, problems = gathered(local, without)
    if problems:
        first = problems[0]
        place = f"{first.source}:{first.line}" if first.line else first.source
        more = f" ({len(problems) - 1} more; `plexor words --check` lists them)" if len(problems) > 1 else ""
        hint = f" {first.hint}" if first.hint else ""
        raise VocabularyError(f"{place}: {first.message}{hint}{more}")
    return vocabulary


@cache
def shipped_vocabulary() -> Vocabulary:
    """The shipped data alone, loaded once."""
    return _loaded((), frozenset())


def gathered(
    local_files: Iterable[Path] = (), without: frozenset[str] = frozenset()
) -> tuple[Vocabulary, list[Diagnostic]]:
    """Everything that could be loaded, and every problem; what cannot be used is left out."""
    local = [Path(file) for file in local_files]
    scales, reflexes = shipped_scales(SHIPPED / "scales.toml"), shipped_reflexes(SHIPPED / "reflexes.toml")
    descriptors = shipped_descriptors(SHIPPED / "descriptors.toml")
    places = dict.fromkeys(scales, "scales.toml") | dict.fromkeys(reflexes, "reflexes.toml")
    problems: list[Diagnostic] = []
    rows: list[Word] = []
    for file in local:
        if file.suffix == _TABLE:
            problems += add_own_table(file, str(file), scales, reflexes, places)
    lists = [(file, file.name) for file in sorted(SHIPPED.glob("*.csv"))]
    lists += [(file, str(file)) for file in local if file.suffix != _TABLE]
    for file, name in lists:
        read, wrong = read_word_list(file, name)
        rows += [row for row in read if row.place not in without]
        problems += wrong
    regions = [site for site, reflex in reflexes.items() if reflex.covers]
    problems += meaning_problems(rows, reflexes, regions, descriptors, scales)
    words, collisions = tree_of(rows)
    vocabulary = Vocabulary(
        words=words,
        rows=tuple(rows),
        scales=MappingProxyType(scales),
        descriptors=descriptors,
        reflexes=MappingProxyType(reflexes),
        spelling=_spelling(rows),
        cells=shipped_cells(SHIPPED / "cells.toml"),
        fingerprint=_fingerprint(local, without),
    )
    return vocabulary, [*problems, *collisions]


def _spelling(rows: Iterable[Word]) -> Spelling:
    known = {token for row in rows for wording in wordings(row.phrase) for token in tokens_of(wording)}
    mended_to = tomllib.loads((SHIPPED / "spelling.toml").read_text(encoding="utf-8"))["words"]
    return Spelling(known, known.intersection(mended_to))


def _fingerprint(local: Iterable[Path], without: frozenset[str]) -> str:
    digest = hashlib.sha256(",".join(sorted(without)).encode())
    for file in [*sorted(SHIPPED.glob("*.csv")), *local, *sorted(SHIPPED.glob("*.toml"))]:
        content = file.read_bytes() if file.is_file() else b""
        digest.update(f"{file.name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()[:16]
