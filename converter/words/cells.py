"""Words that say something only in a cell of a table or in a list: a TOML file of names, values and times.

Takes the file; gives the words by what they stand for.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any


@dataclass(frozen=True, slots=True)
class CellWords:
    """Words of cells, in lower case.

    Attributes:
        letters: letters and short forms for reflexes, by a site.
        beside_knee: letters that stand for another reflex only where the knee has a letter of its own.
        among_reflexes: names of muscles that in a list of graded reflexes are tendons, by a site.
        names: names of rows, by `site` or `site:which`.
        limbs: limbs by the side and the limb, by `region:side`.
        values: letters for values, by a canonical word.
        earlier, later, now: words for the time of an examination, against another one.
        time_heads: heads of the column that holds such times.
    """

    letters: Mapping[str, str]
    beside_knee: Mapping[str, str]
    among_reflexes: Mapping[str, str]
    names: Mapping[str, str]
    limbs: Mapping[str, str]
    values: Mapping[str, str]
    earlier: frozenset[str]
    later: frozenset[str]
    now: frozenset[str]
    time_heads: frozenset[str]

    def __reduce__(self) -> Any:
        """Travels as plain tables."""
        tables = (
            *(self.letters, self.beside_knee, self.among_reflexes),
            *(self.names, self.limbs, self.values),
        )
        return CellWords, (*map(dict, tables), self.earlier, self.later, self.now, self.time_heads)


def shipped_cells(file: Path) -> CellWords:
    """Read the words of cells."""
    held = tomllib.loads(file.read_text(encoding="utf-8"))
    times = held["times"]
    return CellWords(
        letters=MappingProxyType(held["letters"]),
        beside_knee=MappingProxyType(held["beside_knee"]),
        among_reflexes=MappingProxyType(held["among_reflexes"]),
        names=MappingProxyType(held["names"]),
        limbs=MappingProxyType(held["limbs"]),
        values=MappingProxyType(held["values"]),
        earlier=frozenset(times["earlier"]),
        later=frozenset(times["later"]),
        now=frozenset(times["now"]),
        time_heads=frozenset(times["heads"]),
    )
