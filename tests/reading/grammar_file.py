"""Reads `grammar.ebnf` with a small reader of its own: the text in, a tree for each production out."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

FILE = Path(__file__).parents[2] / "converter" / "reading" / "grammar.ebnf"
_TOKEN = re.compile(r'\s*(?:\(\*.*?\*\)\s*)*("[^"]+"|[a-z_]+|[A-Z_]+|[=;|(){}\[\]]|$)', re.DOTALL)
_CLOSED_BY = {"(": ")", "[": "]", "{": "}"}


@dataclass(frozen=True, slots=True)
class Name:
    """A shape that is defined elsewhere."""

    name: str


@dataclass(frozen=True, slots=True)
class Role:
    """A word of a role of the vocabulary."""

    role: str


@dataclass(frozen=True, slots=True)
class Literal:
    """A mark or word as it stands."""

    text: str


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several."""

    parts: tuple["Tree", ...]


@dataclass(frozen=True, slots=True)
class Sequence:
    """One after the other."""

    parts: tuple["Tree", ...]


@dataclass(frozen=True, slots=True)
class Maybe:
    """Once or not at all."""

    part: "Tree"


@dataclass(frozen=True, slots=True)
class Repeat:
    """Any number of times."""

    part: "Tree"


Tree = Name | Role | Literal | Choice | Sequence | Maybe | Repeat


def read_grammar(text: str) -> dict[str, Tree]:
    """The productions by name.

    Raises:
        ValueError: the text is not written as ISO 14977 writes productions, or defines a name twice.
    """
    tokens = _Tokens(text)
    productions: dict[str, Tree] = {}
    while tokens.next:
        name = tokens.take()
        tokens.expect("=")
        if name in productions or not name.islower():
            raise ValueError(f"{name} begins no production")
        productions[name] = _choice(tokens)
        tokens.expect(";")
    return productions


class _Tokens:
    def __init__(self, text: str) -> None:
        self._text, self._place, self.next = text, 0, ""
        self.take()

    def take(self) -> str:
        taken = self.next
        match = _TOKEN.match(self._text, self._place)
        if match is None:
            raise ValueError(f"unreadable at {self._text[self._place : self._place + 30]!r}")
        self._place, self.next = match.end(), match[1]
        return taken

    def expect(self, token: str) -> None:
        if self.next != token:
            raise ValueError(f"{token} is missing before {self.next!r}")
        self.take()


def _choice(tokens: _Tokens) -> Tree:
    parts = [_sequence(tokens)]
    while tokens.next == "|":
        tokens.take()
        parts.append(_sequence(tokens))
    return parts[0] if len(parts) == 1 else Choice(tuple(parts))


def _sequence(tokens: _Tokens) -> Tree:
    parts: list[Tree] = []
    while tokens.next not in ("|", ";", ")", "]", "}", ""):
        parts.append(_part(tokens))
    if not parts:
        raise ValueError(f"nothing stands before {tokens.next!r}")
    return parts[0] if len(parts) == 1 else Sequence(tuple(parts))


def _part(tokens: _Tokens) -> Tree:
    token = tokens.take()
    if token in _CLOSED_BY:
        inner = _choice(tokens)
        tokens.expect(_CLOSED_BY[token])
        return inner if token == "(" else Maybe(inner) if token == "[" else Repeat(inner)
    if token.startswith('"'):
        return Literal(token.strip('"'))
    if token == "=":
        raise ValueError("= stands inside a production")
    return Role(token) if token.isupper() else Name(token)


def parts_of(tree: Tree) -> Iterator[Tree]:
    """A tree and everything in it."""
    yield tree
    if isinstance(tree, Choice | Sequence):
        for part in tree.parts:
            yield from parts_of(part)
    elif isinstance(tree, Maybe | Repeat):
        yield from parts_of(tree.part)
