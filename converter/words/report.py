"""What the vocabulary says about a wording and where, and what is wrong or doubtful with a site's own files.

Takes a vocabulary, or files; gives values and diagnostics. Needs from above a function that tells how a
wording comes out of a note's tokens, since that is the reader's to say.
"""

import difflib
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from converter.model import Diagnostic, Severity
from converter.words.phrases import tokens_of, wordings
from converter.words.vocabulary import Vocabulary, gathered, shipped_vocabulary
from converter.words.word_lists import OVERRIDE, Word, problem_at

ReadsAs = Callable[[str, Vocabulary], Word | str | None]
"""How a wording alone comes out of a note: as a row, as something else in words, or None for neither."""

_ALIKE = 0.85
_LONG_ENOUGH = 5
_MOST = 3


@dataclass(frozen=True, slots=True)
class Entry:
    """One wording and the row that says what it means.

    Attributes:
        wording: the wording, in full.
        row: the row.
        in_force: whether the row decides; another one may override it.
    """

    wording: str
    row: Word
    in_force: bool


@dataclass(frozen=True, slots=True)
class Found:
    """What is known of some words.

    Attributes:
        entries: rows for exactly these words.
        longer: wordings that hold these words among others; where one of them stands, it wins.
        meaning: rows whose meaning is named so, e.g. for `patellar`.
        alike: known wordings that are written nearly so; only where nothing else is known.
    """

    entries: tuple[Entry, ...]
    longer: tuple[Entry, ...]
    meaning: tuple[Word, ...]
    alike: tuple[str, ...]


def look_up(words: str, vocabulary: Vocabulary) -> Found:
    """What the vocabulary says about some words, and which row says so."""
    asked = tokens_of(words)
    exact: list[Entry] = []
    longer: list[Entry] = []
    for row in vocabulary.rows:
        for wording in wordings(row.phrase):
            tokens = tokens_of(wording)
            if tokens == asked:
                exact.append(Entry(wording, row, in_force(tokens, row, vocabulary)))
            elif asked and _holds(tokens, asked):
                longer.append(Entry(wording, row, in_force(tokens, row, vocabulary)))
    name = words.strip().lower()
    meaning = tuple(row for row in vocabulary.rows if name in (row.meaning, *row.meaning.split(":")))
    known = bool(exact or longer or meaning)
    return Found(_once(exact), _once(longer), meaning, () if known else _alike(words, vocabulary))


def in_force(tokens: Sequence[str], row: Word, vocabulary: Vocabulary) -> bool:
    """Whether a row decides what these tokens mean."""
    found = vocabulary.words.longest(tokens, 0)
    return found is not None and found[0] is row and found[1] == len(tokens)


def check_files(
    files: Iterable[Path], reads_as: ReadsAs, others: Iterable[Path] = ()
) -> tuple[Diagnostic, ...]:
    """Everything that is wrong or doubtful with a site's own files, in order of place.

    Args:
        files: the files to check.
        reads_as: how a wording alone comes out of a note.
        others: further files of the site that count, but are not checked.
    """
    chosen = [Path(file) for file in files]
    taken = {file.resolve() for file in chosen}
    every = [*(file for file in map(Path, others) if file.resolve() not in taken), *chosen]
    vocabulary, problems = gathered(every)
    names = {str(file) for file in chosen}
    rows = [row for row in vocabulary.rows if row.place.rpartition(":")[0] in names]
    found = [one for one in problems if one.source in names]
    found += [one for row in rows for one in _doubts(row, vocabulary, reads_as)]
    found += _near_duplicates(rows)
    order = {str(file): number for number, file in enumerate(chosen)}
    return tuple(sorted(found, key=lambda one: (order[one.source or ""], one.line or 0)))


def _doubts(row: Word, vocabulary: Vocabulary, reads_as: ReadsAs) -> Iterator[Diagnostic]:
    yield from _strange_flags(row)
    if OVERRIDE in row.flags and not _overrides(row):
        said = f"{row.phrase!r} is flagged override, but no shipped row says anything else about it."
        yield problem_at(row, "overrides-nothing", said, severity=Severity.WARNING)
    for wording in wordings(row.phrase):
        tokens = tokens_of(wording)
        if tokens and in_force(tokens, row, vocabulary):
            yield from _unreachable(row, wording, reads_as(wording, vocabulary))
        elif tokens and OVERRIDE in row.flags:
            yield problem_at(
                row, "unreachable", f"{wording!r} is overridden by a later row.", severity=Severity.WARNING
            )


def _unreachable(row: Word, wording: str, comes_out: Word | str | None) -> Iterator[Diagnostic]:
    """A wording that never comes out as its row, because something else always takes its place."""
    if comes_out is row:
        return
    if isinstance(comes_out, Word):
        said = f"{wording!r} is never met: {comes_out.phrase!r} in {comes_out.place} takes its place."
    elif comes_out is not None:
        said = f"{wording!r} is never met: it is always read as {comes_out}."
    else:
        said = f"{wording!r} is never met: a note with these characters is divided into other words."
    yield problem_at(row, "unreachable", said, severity=Severity.WARNING)


def known_flags() -> frozenset[str]:
    """Every flag that a shipped row has, and `override`."""
    return frozenset({OVERRIDE, *(flag for row in shipped_vocabulary().rows for flag in row.flags)})


def _strange_flags(row: Word) -> Iterator[Diagnostic]:
    for flag in sorted(row.flags - known_flags()):
        near = difflib.get_close_matches(flag, sorted(known_flags()), n=1)
        hint = f"Did you mean {near[0]}?" if near else None
        said = f"{row.phrase!r} has the flag {flag!r}, which nothing looks at."
        yield problem_at(row, "unknown-flag", said, hint, severity=Severity.WARNING)


def _overrides(row: Word) -> bool:
    shipped = shipped_vocabulary()
    return any(
        (found := shipped.words.longest(tokens, 0)) is not None and found[1] == len(tokens)
        for tokens in map(tokens_of, wordings(row.phrase))
    )


def _near_duplicates(rows: Iterable[Word]) -> Iterator[Diagnostic]:
    """Wordings that are written nearly like a shipped one: a slip of the pen, or a word too many."""
    known = {wording: row for row in shipped_vocabulary().rows for wording in wordings(row.phrase) if wording}
    for row in rows:
        for wording in wordings(row.phrase):
            if wording in known or len(wording) < _LONG_ENOUGH:
                continue
            close = difflib.get_close_matches(wording, known, n=_MOST, cutoff=_ALIKE)
            if close:
                other = next((one for one in close if _says_other(row, known[one])), close[0])
                yield _near(row, wording, other, known[other])


def _says_other(row: Word, other: Word) -> bool:
    return (row.role, row.meaning) != (other.role, other.meaning)


def _near(row: Word, wording: str, other: str, shipped: Word) -> Diagnostic:
    if not _says_other(row, shipped):
        said = f"{wording!r} is nearly {other!r}, which already means the same in {shipped.place}."
        return problem_at(row, "near-duplicate", said, severity=Severity.INFORMATION)
    meaning = f" {shipped.meaning}" if shipped.meaning else ""
    said = f"{wording!r} is nearly {other!r}, which means {shipped.role}{meaning} in {shipped.place}."
    hint = "See that the two are meant to differ."
    return problem_at(row, "near-duplicate", said, hint, Severity.WARNING)


def _holds(tokens: Sequence[str], asked: Sequence[str]) -> bool:
    size = len(asked)
    return any(tuple(tokens[at : at + size]) == tuple(asked) for at in range(len(tokens) - size + 1))


def _once(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    return tuple(dict.fromkeys(entries))


def _alike(words: str, vocabulary: Vocabulary) -> tuple[str, ...]:
    every: Collection[str] = dict.fromkeys(w for row in vocabulary.rows for w in wordings(row.phrase))
    return tuple(difflib.get_close_matches(" ".join(words.lower().split()), every, n=_MOST))


def entries_of(rows: Iterable[Word], vocabulary: Vocabulary) -> Iterator[Entry]:
    """Every wording of some rows."""
    for row in rows:
        for wording in wordings(row.phrase):
            yield Entry(wording, row, in_force(tokens_of(wording), row, vocabulary))
