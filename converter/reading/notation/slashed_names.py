"""Reads grades in a row under names in a row: "BJ/TJ/KJ/AJ" over "R 2/2/3/1" and "L 2/2/2/1".

Takes the text and the tokens of a note; gives the tokens of such lines of grades with, before each grade, the
name that it belongs to, and without the line of names. Common practice, no source.
"""

from dataclasses import replace

from converter.reading.lines import lines_of
from converter.reading.tokens import Token
from converter.reading.written import Run, Written

_FEWEST = 3
_ROWS = 4
"""Lines of grades under names, at most."""
_BESIDE_NAMES = frozenset({"reflex", "colon", "open", "close"})
_LEADS = frozenset({"side", "colon", "bullet", "dash"})


def with_slashed_names_read(text: str, tokens: list[Token], repeated: dict[int, Token]) -> list[Token]:
    """The tokens of a note, each grade of such a row behind its name.

    Args:
        text: the note.
        tokens: its tokens.
        repeated: filled in: for each name put before a grade, by its identity, the name as written.
    """
    if not any(token.kind == "run" for token in tokens):
        return tokens
    ends = [token for token in tokens if token.kind == "newline"]
    names: list[Token] = []
    rows, read = 0, list[Token]()
    kept: list[list[Token]] = []
    for number, line in enumerate(lines_of(text, tokens)):
        run = _run_of(line.tokens, len(names)) if rows < _ROWS else None
        if run is not None:
            read = _named(text, line.tokens, run, names, repeated)
            if rows == 0:
                kept[-1] = kept[-1][-1:]
            rows += 1
        else:
            names, rows, read = _names_of(line.tokens), 0, line.tokens
        kept.append([*read, *ends[number : number + 1]])
    return [token for line_tokens in kept for token in line_tokens]


def _names_of(tokens: list[Token]) -> list[Token]:
    """The names of a line that says nothing else, parted by slashes; none where they are too few."""
    sites = [token for token in tokens if token.kind == "site"]
    parted = sum(token.kind == "slash" for token in tokens) == len(sites) - 1
    plain = all(token.kind in _BESIDE_NAMES | {"site", "slash"} for token in tokens)
    each_once = len({token.meaning for token in sites}) == len(sites)
    return sites if plain and parted and each_once and len(sites) >= _FEWEST else []


def _run_of(tokens: list[Token], count: int) -> Token | None:
    """The grades of a line that gives one for each of so many names, and nothing else but its side."""
    run = tokens[-1] if tokens and tokens[-1].kind == "run" else None
    fits = run is not None and isinstance(run.written, Run) and len(run.written.values) == count
    return run if fits and all(token.kind in _LEADS for token in tokens[:-1]) else None


def _named(
    text: str, tokens: list[Token], run: Token, names: list[Token], repeated: dict[int, Token]
) -> list[Token]:
    """A line with the name of each grade before it."""
    values: tuple[Written, ...] = run.written.values if isinstance(run.written, Run) else ()
    found = [token for token in tokens if token is not run and token.kind != "colon"]
    if found and found[-1].kind == "side":
        found.append(Token("colon", found[-1].end, found[-1].end))
    start = run.start
    for name, value, part in zip(names, values, text[run.start : run.end].split("/"), strict=True):
        copy = replace(name, start=start, end=start, used="")
        repeated[id(copy)] = name
        comma = [Token("comma", start, start)] if start > run.start else []
        found += [*comma, copy, Token("value", start, start + len(part), written=value)]
        start += len(part) + 1
    return found
