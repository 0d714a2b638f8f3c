"""Tables of scales, words for strength, and reflexes: TOML files, ours and a site's own in the same form.

Takes files; gives values, and a diagnostic for each entry of a site that cannot be used. An entry with
`grades` is a scale, one with `kind` a reflex or region.
"""

import re
import tomllib
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

from converter.model import Diagnostic
from converter.words.word_lists import problem

LEVELS = frozenset({"absent", "low", "normal", "high", "clonus"})
LIMBS = frozenset({"upper", "lower", "trunk", "head"})
OWN_KINDS = frozenset({"stretch", "superficial", "clonus"})
"""Kinds that a site's own reflex can have. Plantar variants and primitive reflexes are told apart by `which`,
so a row of a word list is enough for them."""

_REFLEX_KEYS = frozenset({"label", "kind", "limb", "paired", "covers"})
_SCALE_KEYS = frozenset({"title", "source", "grades", "denominator"})
_ID = re.compile(r"[a-z][a-z0-9]*(?:[_-][a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class Grade:
    """One grade of a scale."""

    grade: float
    meaning: str
    level: str


@dataclass(frozen=True, slots=True)
class Scale:
    """A grading scale."""

    scale: str
    title: str
    source: str
    grades: Mapping[float, Grade]
    denominator: int | None

    def __reduce__(self) -> Any:
        return _arrived, (self.scale, self.title, self.source, dict(self.grades), self.denominator)

    def level(self, low: float, high: float) -> str | None:
        """The level of a grade or range, or None where a range spans two levels or is off the scale.

        A half step inside the scale has the level of both neighbours where they agree; a range from
        trace (0.5) counts as low.
        """
        levels = {self._level_of(low), self._level_of(high)}
        return levels.pop() if len(levels) == 1 else None

    def holds(self, grade: float) -> bool:
        """Whether a grade lies on the scale, half steps included."""
        return min(self.grades) <= grade <= max(self.grades) and float(grade * 2).is_integer()

    def _level_of(self, grade: float) -> str | None:
        if grade in self.grades:
            return self.grades[grade].level
        below, above = self.grades.get(grade - 0.5), self.grades.get(grade + 0.5)
        if below is None or above is None:
            return None
        if below.level == "absent":
            return above.level
        return above.level if above.level == below.level else None


@dataclass(frozen=True, slots=True)
class Descriptor:
    """A word for the strength of a reflex."""

    descriptor: str
    level: str | None
    order: int | None


@dataclass(frozen=True, slots=True)
class Reflex:
    """A reflex, or a region for which a note gives one value."""

    site: str
    label: str
    kind: str
    limb: str | None
    main: bool
    paired: bool
    covers: tuple[str, ...]


def read_table(file: Path) -> dict[str, Any]:
    """A TOML file as plain values."""
    with file.open("rb") as handle:
        return tomllib.load(handle)


def shipped_scales(file: Path) -> dict[str, Scale]:
    """The scales of a shipped table."""
    return {name: _scale(name, entry) for name, entry in read_table(file).items()}


def shipped_descriptors(file: Path) -> Mapping[str, Descriptor]:
    """The words for strength, by canonical word."""
    return MappingProxyType(
        {
            name: Descriptor(name, entry.get("level"), entry.get("order"))
            for name, entry in read_table(file).items()
        }
    )


def shipped_reflexes(file: Path) -> dict[str, Reflex]:
    """The reflexes and regions of a shipped table."""
    return {site: _reflex(site, entry) for site, entry in read_table(file).items()}


def add_own_table(
    file: Path, name: str, scales: dict[str, Scale], reflexes: dict[str, Reflex], places: dict[str, str]
) -> list[Diagnostic]:
    """Add a site's own scales and reflexes to those known; what cannot be used is left out and said.

    Args:
        file: the TOML file.
        name: what messages call it.
        scales: those known so far; it is added to.
        reflexes: those known so far; it is added to.
        places: the file of each known scale and reflex; it is added to.
    """
    try:
        table = read_table(file)
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        return [
            problem("unreadable-table", name, None, f"The file cannot be read as a TOML table ({error}).")
        ]
    problems: list[Diagnostic] = []
    for entry, value in table.items():
        wrong = list(_wrong(entry, value, scales, reflexes, places))
        problems += [problem(code, name, _line(file, entry), sentence) for code, sentence in wrong]
        if wrong:
            continue
        places[entry] = name
        if "grades" in value:
            scales[entry] = _scale(entry, value)
        else:
            reflexes[entry] = _reflex(entry, value)
    return problems


Wrong = Iterator[tuple[str, str]]


def _wrong(
    entry: str,
    value: Any,
    scales: Mapping[str, Scale],
    reflexes: Mapping[str, Reflex],
    places: Mapping[str, str],
) -> Wrong:
    """Codes and sentences for everything that keeps an entry from being used."""
    if not _ID.fullmatch(entry):
        yield "bad-id", f"[{entry}] is no id: small letters and digits, parted by _ or -."
    if entry in scales or entry in reflexes:
        yield (
            "collision",
            f"[{entry}] is already in {places[entry]}; an own scale or reflex needs a name of its own.",
        )
    if not isinstance(value, dict) or ("grades" in value) == ("kind" in value):
        yield "unknown-entry", f"[{entry}] is neither a scale (with grades) nor a reflex (with kind)."
    elif "grades" in value:
        yield from _wrong_keys(entry, value, _SCALE_KEYS, ("title", "source"))
        yield from _wrong_scale(entry, value, scales)
    else:
        yield from _wrong_keys(entry, value, _REFLEX_KEYS, ("label",))
        yield from _wrong_reflex(entry, value, reflexes)


def _wrong_keys(
    entry: str, value: Mapping[str, Any], known: Collection[str], texts: tuple[str, ...]
) -> Wrong:
    for key in sorted(set(value) - set(known)):
        yield "unknown-key", f"[{entry}] has no key {key} of its own; known are {', '.join(sorted(known))}."
    for key in texts:
        if not isinstance(value.get(key), str) or not value[key].strip():
            yield "missing-key", f"[{entry}] needs a {key}."


def _wrong_scale(entry: str, value: Mapping[str, Any], scales: Mapping[str, Scale]) -> Wrong:
    grades = value["grades"]
    if not isinstance(grades, list) or not grades or not all(map(_is_grade, grades)):
        levels = ", ".join(sorted(LEVELS))
        yield (
            "bad-grades",
            (f"[{entry}] grades: each needs grade (a whole or half number), meaning, and level ({levels})."),
        )
    elif len({grade["grade"] for grade in grades}) < len(grades):
        yield "bad-grades", f"[{entry}] grades: a grade stands there twice."
    denominator = value.get("denominator")
    if denominator is None:
        return
    other = next((one.scale for one in scales.values() if one.denominator == denominator), None)
    if other is not None:
        yield (
            "collision",
            (
                f"[{entry}] denominator {denominator} already chooses the scale {other}; leave it out and "
                f"name the scale as default_scale or in a legend."
            ),
        )
    else:
        yield "unreachable", f"[{entry}] denominator {denominator}: only 4 and 5 are read as a maximum."


def _is_grade(grade: Any) -> bool:
    return (
        isinstance(grade, dict)
        and set(grade) == {"grade", "meaning", "level"}
        and isinstance(grade["grade"], int | float)
        and float(grade["grade"] * 2).is_integer()
        and isinstance(grade["meaning"], str)
        and _one_of(grade["level"], LEVELS)
    )


def _wrong_reflex(entry: str, value: Mapping[str, Any], reflexes: Mapping[str, Reflex]) -> Wrong:
    kind, covers = value["kind"], value.get("covers", [])
    if not _one_of(kind, OWN_KINDS):
        yield "bad-kind", f"[{entry}] kind: an own reflex is {', '.join(sorted(OWN_KINDS))}, not {kind!r}."
    if (
        "-" in entry
        or ("clonus" in entry) != (kind == "clonus")
        or (kind == "clonus") != entry.endswith("_clonus")
    ):
        yield (
            "bad-id",
            f"[{entry}] is no id of a reflex: parts are joined by _, and only a clonus ends in _clonus.",
        )
    if value.get("limb") is not None and not _one_of(value["limb"], LIMBS):
        yield (
            "bad-limb",
            f"[{entry}] limb: known are {', '.join(sorted(LIMBS))}; leave it out where it has none.",
        )
    if not isinstance(value.get("paired"), bool):
        yield (
            "missing-key",
            f"[{entry}] needs paired = true or false: whether it has a left and a right side.",
        )
    if not isinstance(covers, list) or any(
        not _one_of(site, reflexes) or reflexes[site].covers for site in covers
    ):
        yield "dangling-id", f"[{entry}] covers: every one must be a known reflex that is no region."


def _one_of(value: Any, known: Collection[str]) -> bool:
    return isinstance(value, str) and value in known


def _line(file: Path, entry: str) -> int | None:
    """The line on which an entry begins."""
    for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
        if line.strip().startswith("[") and line.strip().strip("[] ").strip("\"'") == entry:
            return number
    return None


def _arrived(
    scale: str, title: str, source: str, grades: dict[float, Grade], denominator: int | None
) -> Scale:
    return Scale(scale, title, source, MappingProxyType(grades), denominator)


def _scale(name: str, entry: Mapping[str, Any]) -> Scale:
    return Scale(
        scale=name,
        title=entry["title"],
        source=entry["source"],
        grades=MappingProxyType({float(g["grade"]): Grade(**g) for g in entry["grades"]}),
        denominator=entry.get("denominator"),
    )


def _reflex(site: str, entry: Mapping[str, Any]) -> Reflex:
    return Reflex(
        site=site,
        label=entry["label"],
        kind=entry["kind"],
        limb=entry.get("limb"),
        main=entry.get("main", False),
        paired=entry["paired"],
        covers=tuple(entry.get("covers", ())),
    )
