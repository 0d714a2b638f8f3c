"""Word lists: CSV files of wordings, what each is to the grammar and what it means.

Takes files in the format that `README.md` here describes; gives rows, and a diagnostic for each row that
cannot be used. Leaves scales and reflexes to `tables`, and the joining of files to `vocabulary`.
"""

import csv
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from converter.model import Diagnostic, Severity
from converter.words.phrases import PhraseTree, tokens_of, wordings

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

COLUMNS = ("phrase", "role", "meaning", "flags", "source")
_SPEAKING = frozenset({"site", "reflex", "condition"})
_BY_ITSELF = frozenset({"trigger", "joint", "jerk", "toes", "testing"})
"""A name without one of these speaks of reflexes by itself, so that none is passed over in silence."""
OVERRIDE = "override"

_MEANINGS: Mapping[str, frozenset[str]] = {
    "side": frozenset({"left", "right", "both", "ipsilateral", "contralateral"}),
    "side_ref": frozenset({"right-left", "left-right"}),
    "polarity": frozenset({"positive", "negative"}),
    "response": frozenset({"flexor", "extensor", "equivocal", "withdrawal", "mute"}),
    "clonus_word": frozenset({"sustained", "unsustained"}),
    "reinforcement": frozenset({"only_with", "even_with", ""}),
    "before": frozenset({"unchanged", "greater_than_before", "less_than_before", ""}),
    "heading_other": frozenset({"history"}),
}
"""Roles whose meanings are few; those of sites, values and scales come from the tables."""
_NEED_MEANING = frozenset({"quality", "manoeuvre", "position", "technique"})
"""Roles that say nothing without a meaning; any meaning will do."""
_NOTATION = re.compile(r"(?:\[[^\[\]()]*\]|\([^\[\]()]*\)|[^\[\]()])+")
_ROOT = re.compile(r"root=(?:C[1-8]|T(?:[1-9]|1[0-2])|[LS][1-5])")


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


def read_word_list(file: Path, name: str) -> tuple[list[Word], list[Diagnostic]]:
    """The rows of a word list, and what is wrong with the others.

    Args:
        file: the file.
        name: what the places of its rows call it.
    """
    rows: list[Word] = []
    problems: list[Diagnostic] = []
    try:
        with file.open(encoding="utf-8-sig", newline="") as lines:
            reader = csv.DictReader(_without_comments(lines), skipinitialspace=True)
            missing = [column for column in COLUMNS[:3] if column not in (reader.fieldnames or ())]
            if missing:
                return [], [problem("no-columns", name, 1, _no_columns(missing))]
            for row in reader:
                made = _word(row, name)
                (rows if isinstance(made, Word) else problems).append(made)  # type: ignore[arg-type]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        problems.append(
            problem("unreadable-list", name, None, f"The file cannot be read as a word list ({error}).")
        )
    return rows, problems


def problem(
    code: str,
    source: str,
    line: int | None,
    message: str,
    hint: str | None = None,
    severity: Severity = Severity.ERROR,
) -> Diagnostic:
    """A diagnostic about a place in a data file."""
    return Diagnostic(code=code, severity=severity, message=message, hint=hint, source=source, line=line)


def problem_at(
    row: Word, code: str, message: str, hint: str | None = None, severity: Severity = Severity.ERROR
) -> Diagnostic:
    """A diagnostic about a row."""
    source, _, line = row.place.rpartition(":")
    return problem(code, source, int(line), message, hint, severity)


def tree_of(rows: Iterable[Word]) -> tuple[PhraseTree[Word], list[Diagnostic]]:
    """The tree that finds the rows' wordings, and every wording that two rows claim."""
    tree: PhraseTree[Word] = PhraseTree()
    problems: list[Diagnostic] = []
    for row in rows:
        for wording in wordings(row.phrase):
            tokens = tokens_of(wording)
            if not tokens:
                problems.append(problem_at(row, "empty-wording", f"{row.phrase!r} allows an empty wording."))
            elif OVERRIDE in row.flags:
                tree.replace(tokens, row)
            elif (other := tree.add(tokens, row)) is not None and other is not row:
                problems.append(problem_at(row, "collision", _collision(wording, other), _TO_CHANGE))
    return tree, problems


_TO_CHANGE = "To change a meaning, flag the row `override`."


def _collision(wording: str, other: Word) -> str:
    meaning = f" {other.meaning!r}" if other.meaning else ""
    return f"{wording!r} already means {other.role}{meaning} in {other.place}."


def meaning_problems(
    rows: Iterable[Word],
    sites: Collection[str],
    regions: Collection[str],
    words: Collection[str],
    scales: Collection[str],
) -> list[Diagnostic]:
    """Every row whose meaning does not exist.

    Args:
        rows: the rows.
        sites: all reflexes and regions.
        regions: those that cover reflexes.
        words: the canonical words for strength.
        scales: the grading scales.
    """
    known: dict[str, Collection[str]] = {
        **_MEANINGS,
        "site": sites,
        "region": regions,
        "value": words,
        "condition": words,
        "legend": {"", *scales},
    }
    return [
        problem_at(row, "dangling-meaning", f"{row.phrase!r} means {row.meaning!r}, which is no {row.role}.")
        for row in rows
        if (row.role in known and not _exists(row, known[row.role]))
        or (row.role in _NEED_MEANING and not row.meaning)
    ]


def _exists(row: Word, known: Collection[str]) -> bool:
    meaning, _, rest = row.meaning.partition(":")
    sided = row.role != "region" or rest in ("", "left", "right", "both")
    rooted = not rest.startswith("root=") or bool(_ROOT.fullmatch(rest))
    return meaning in known and sided and rooted


def _no_columns(missing: list[str]) -> str:
    return f"The first line names no column {missing[0]}; it must be {', '.join(COLUMNS)}, parted by commas."


def _without_comments(lines: Iterable[str]) -> Iterator[str]:
    """Drop comment and empty lines; put each row's own line number into a column named `#`."""
    header = True
    for number, line in enumerate(lines, start=1):
        if line.strip() and not line.startswith("#"):
            yield ("#," if header else f"{number},") + line
            header = False


def _word(row: Mapping[str | None, str | None], name: str) -> Word | Diagnostic:
    cells = {column: (row.get(column) or "").strip() for column in COLUMNS}
    line = int(row["#"] or 0)
    if None in row:
        hint = "A phrase with a comma in it must stand in quotes."
        return problem("too-many-cells", name, line, "The row has more cells than there are columns.", hint)
    if not cells["phrase"] or cells["role"] not in ROLES:
        said = f"A row needs a phrase and a known role, not {cells['phrase']!r} as {cells['role']!r}."
        return problem("unknown-role", name, line, said)
    if not _NOTATION.fullmatch(cells["phrase"]):
        said = f"{cells['phrase']!r}: brackets must be closed, and none stands inside another."
        return problem("bad-notation", name, line, said)
    flags = frozenset(cells.pop("flags").split())
    if cells["role"] in _SPEAKING and not flags & _BY_ITSELF:
        flags |= {"trigger"}
    return Word(flags=flags, place=f"{name}:{line}", **cells)
