"""Loads words, scales, descriptors and reflexes from data files, ours and a site's own, and checks them.

Takes folders and files in the shipped formats; gives a Vocabulary with a fingerprint of all it holds.
A collision between two files is an error that shows both places, unless the later row says `override`.
"""

import csv
import hashlib
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from converter.words.phrases import PhraseTree, tokens_of, wordings

SHIPPED = Path(__file__).parent

ROLES = frozenset(
    {
        *("reflex", "site", "condition", "region", "side", "side_ref"),
        *("value", "polarity", "response", "clonus_word", "beat", "quality"),
        *("no", "untested", "reason", "past", "future", "family", "if", "now", "uncertain"),
        *("except", "only", "otherwise", "respectively", "more", "less", "than", "before"),
        *("reinforcement", "manoeuvre", "position", "technique"),
        *("is", "at", "and", "but", "with", "anaphor", "filler"),
        *("look_alike", "other_exam", "legend", "heading_other"),
    }
)
"""What a wording can be to the grammar; `words/README.md` says what each means."""


class VocabularyError(ValueError):
    """A data file cannot be used; the message names the file and the line."""


@dataclass(frozen=True, slots=True)
class Word:
    """One row of a word list.

    Attributes:
        phrase: the notation as the row has it.
        role: what the wording is to the grammar.
        meaning: the canonical value, e.g. `patellar`, `left`, `absent`.
        flags: further facts, e.g. `joint` for a name that needs a reflex context.
        source: where the row comes from.
        place: `file:line`.
    """

    phrase: str
    role: str
    meaning: str
    flags: frozenset[str]
    source: str
    place: str


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


@dataclass(frozen=True, slots=True, eq=False)
class Vocabulary:
    """Everything the program knows about wording, read from data.

    Attributes:
        words: finds the longest known wording at a token.
        rows: every row of the word lists, in order of loading.
        scales: by scale id.
        descriptors: by canonical word.
        reflexes: by site.
        fingerprint: first 16 hexadecimal digits of a SHA-256 over all loaded data.
    """

    words: PhraseTree[Word]
    rows: tuple[Word, ...]
    scales: Mapping[str, Scale]
    descriptors: Mapping[str, Descriptor]
    reflexes: Mapping[str, Reflex]
    fingerprint: str

    def __reduce__(self) -> Any:
        raise TypeError("a vocabulary is loaded where it is used, not sent about")


def load_vocabulary(local_files: Iterable[Path] = (), without: frozenset[str] = frozenset()) -> Vocabulary:
    """Load the shipped data and a site's own word lists.

    Args:
        local_files: CSV files in the format of the shipped word lists; their rows are added to ours.
        without: `place`s of rows to leave out, for tests that take a row away.

    Raises:
        VocabularyError: a file cannot be read, a row is wrong, or two rows claim one wording.
    """
    local = [Path(file) for file in local_files]
    files = [*sorted(SHIPPED.glob("*.csv")), *local]
    reflexes = _reflexes(SHIPPED / "reflexes.toml")
    descriptors = _descriptors(SHIPPED / "descriptors.toml")
    rows = [row for file in files for row in _rows(file) if row.place not in without]
    _check_meanings(rows, reflexes, descriptors)
    return Vocabulary(
        words=_tree(rows),
        rows=tuple(rows),
        scales=_scales(SHIPPED / "scales.toml"),
        descriptors=descriptors,
        reflexes=reflexes,
        fingerprint=_fingerprint([*files, *sorted(SHIPPED.glob("*.toml"))], without),
    )


@cache
def shipped_vocabulary() -> Vocabulary:
    """The shipped data alone, loaded once."""
    return load_vocabulary()


def _rows(file: Path) -> Iterator[Word]:
    try:
        with file.open(encoding="utf-8", newline="") as lines:
            reader = csv.DictReader(_without_comments(lines), skipinitialspace=True)
            for row in reader:
                yield _word(row, f"{file.name}:{row['#']}")
    except (OSError, UnicodeDecodeError, csv.Error, KeyError) as error:
        raise VocabularyError(f"{file}: cannot be read as a word list ({error})") from error


def _without_comments(lines: Iterable[str]) -> Iterator[str]:
    """Drop comment and empty lines; put each row's own line number into a column named `#`."""
    header = True
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.startswith("#"):
            yield ("#," if header else f"{number},") + line
            header = False


def _word(row: Mapping[str, str | None], place: str) -> Word:
    phrase, role = (row.get("phrase") or "").strip(), (row.get("role") or "").strip()
    if not phrase or role not in ROLES or None in row:
        raise VocabularyError(f"{place}: a row needs a phrase and a known role, not {phrase!r} as {role!r}")
    return Word(
        phrase=phrase,
        role=role,
        meaning=(row.get("meaning") or "").strip(),
        flags=frozenset((row.get("flags") or "").split()),
        source=(row.get("source") or "").strip(),
        place=place,
    )


def _tree(rows: Sequence[Word]) -> PhraseTree[Word]:
    tree: PhraseTree[Word] = PhraseTree()
    for row in rows:
        for wording in wordings(row.phrase):
            tokens = tokens_of(wording)
            if not tokens:
                raise VocabularyError(f"{row.place}: {row.phrase!r} allows an empty wording")
            if "override" in row.flags:
                tree.replace(tokens, row)
                continue
            other = tree.add(tokens, row)
            if other is not None and other is not row:
                raise VocabularyError(
                    f"{row.place}: {wording!r} already means {other.role} {other.meaning!r} "
                    f"in {other.place}; "
                    "to change a meaning, flag the row `override`"
                )
    return tree


def _check_meanings(
    rows: Iterable[Word], reflexes: Mapping[str, Reflex], descriptors: Mapping[str, Descriptor]
) -> None:
    known: dict[str, frozenset[str]] = {
        "site": frozenset(reflexes),
        "region": frozenset(site for site, reflex in reflexes.items() if reflex.covers),
        "side": frozenset({"left", "right", "both", "ipsilateral", "contralateral"}),
        "value": frozenset(descriptors),
        "condition": frozenset(descriptors),
    }
    for row in rows:
        meaning = row.meaning.partition(":")[0]
        if row.role in known and meaning not in known[row.role]:
            raise VocabularyError(f"{row.place}: {row.phrase!r} means {meaning!r}, which is no {row.role}")


def _table(file: Path) -> dict[str, Any]:
    with file.open("rb") as handle:
        return tomllib.load(handle)


def _scales(file: Path) -> Mapping[str, Scale]:
    return MappingProxyType(
        {
            name: Scale(
                scale=name,
                title=entry["title"],
                source=entry["source"],
                grades=MappingProxyType({float(g["grade"]): Grade(**g) for g in entry["grades"]}),
                denominator=entry.get("denominator"),
            )
            for name, entry in _table(file).items()
        }
    )


def _descriptors(file: Path) -> Mapping[str, Descriptor]:
    return MappingProxyType(
        {
            name: Descriptor(name, entry.get("level"), entry.get("order"))
            for name, entry in _table(file).items()
        }
    )


def _reflexes(file: Path) -> Mapping[str, Reflex]:
    return MappingProxyType(
        {
            site: Reflex(
                site=site,
                label=entry["label"],
                kind=entry["kind"],
                limb=entry.get("limb"),
                main=entry.get("main", False),
                paired=entry["paired"],
                covers=tuple(entry.get("covers", ())),
            )
            for site, entry in _table(file).items()
        }
    )


def _fingerprint(files: Iterable[Path], without: frozenset[str]) -> str:
    digest = hashlib.sha256(",".join(sorted(without)).encode())
    for file in files:
        content = file.read_bytes()
        digest.update(f"{file.name}\0{len(content)}\0".encode())
        digest.update(content)
    return digest.hexdigest()[:16]
