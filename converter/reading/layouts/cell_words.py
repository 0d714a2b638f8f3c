"""Gives the cells of a line the words that say something only in a table: letters for reflexes, times, limbs.

Takes a line with its tokens; gives the same line where such cells are one token each. What the cells mean
together is left to `table_heads` and `table_rows`.
"""

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from converter.reading.layouts.table_times import Times
from converter.reading.lines import Line, pieces_of
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_PARTED = re.compile(r"\t|[ \u00a0]{2,}|\.{3,}|…|\|")
_WORD = re.compile(r"\S+")
_TRAILING_SIDE = re.compile(r"(?P<time>.+?)[ ,]+\(?(?P<side>r|l|rt|lt|right|left)\)?", re.IGNORECASE)
_TRAILING_ORDER = re.compile(
    r"(?P<time>.+?)[ ,]+\(?(?P<order>(?P<first>r|l)t? ?/ ?(?:r|l)t?)\)?", re.IGNORECASE
)
_LEADING_SIDE = re.compile(r"(?P<side>r|l|rt|lt|right|left)[ ,:]+\(?(?P<time>[^()]+)\)?", re.IGNORECASE)
_ENDS_OF_SIDES = tuple("rltRLT")
_MARKS = re.compile(r"[,:*_()]|\.$")
_SIDES = {"r": "right", "l": "left"}
_FEWEST_LETTERS, _MOST_LETTERS = 3, 10
_YES_OR_NO = frozenset({"y", "yes", "no"})
_OTHERS = frozenset({"resp", "resps"})
"""Heads of other columns that are joining words elsewhere: common practice, no source."""
_OF_LIMBS = frozenset({"limb"})
_IN_CELLS = frozenset({"joint", "short", "cell"})

Piece = tuple[int, int]


class CellWordReader:
    """Finds the words of cells in the lines of one note."""

    def __init__(self, text: str, vocabulary: Vocabulary) -> None:
        self._text = text
        self._words = vocabulary.cells
        self.times = Times(vocabulary.cells)

    def heads(self, line: Line) -> Line:
        """A line of heads: its times, and letters for reflexes where nothing but reflexes is named."""
        pieces = list(self.pieces(line))
        if len(pieces) < 2:
            words = [match.span() for piece in pieces for match in _WORD.finditer(self._text, *piece)]
            few = not _FEWEST_LETTERS <= len(words) <= _MOST_LETTERS
            return line if few else _with(line, self._letters(line, [(w, self.plain(w)) for w in words]))
        made = [token for piece in pieces for token in self._time(piece) or self._side_and_time(piece)]
        made += [Token("other", *piece) for piece in pieces if self.plain(piece) in _OTHERS]
        said = [(piece, self.plain(piece)) for piece in pieces]
        letters = self._letters(line, said)
        limbs = [
            Token("region", *piece, limb, _OF_LIMBS)
            for piece, plain in said
            if (limb := self._words.limbs.get(plain) or _sided_limb(line, piece)) is not None
        ]
        parts = [self._name(p, letters={}, abdomen=False) for p, plain in said if self._names_part(plain)]
        abdomen = [token for token in parts if token is not None]
        return _with(line, letters or made or (limbs if len(limbs) > 1 else abdomen))

    def row(self, line: Line, *, letters: Mapping[str, str], values: bool, abdomen: bool = False) -> Line:
        """A row: its name, its time, and letters for values.

        Args:
            line: the row.
            letters: what letters that name rows stand for.
            values: letters may stand for values.
            abdomen: `upper` and `lower` are parts of the abdomen.
        """
        pieces = list(self.pieces(line))
        if len(pieces) < 2 and not letters:
            return line
        made = self._time(pieces[0]) if pieces else []
        name = self._name(pieces[0], letters=letters, abdomen=abdomen) if pieces else None
        made += [name] if name is not None and not made else []
        for piece in pieces[1:]:
            value = self._words.values.get(self.plain(piece)) if values else None
            if value is not None:
                written = Written(descriptor=value)
                made.append(Token("value", *piece, flags=frozenset({"cell"}), written=written))
            elif self._is_lost(line, piece):
                made.append(Token("other", *piece))
        return _with(line, made)

    def pieces(self, line: Line) -> Iterator[Piece]:
        """Where the words of each cell of a line stand."""
        return pieces_of(self._text, line, _PARTED)

    def plain(self, piece: Piece) -> str:
        """The words of a cell in lower case, without marks between and behind them."""
        return " ".join(_MARKS.sub(" ", self._text[piece[0] : piece[1]]).lower().split())

    def says_no(self, lines: list[Line]) -> bool:
        """Whether cells are answered by yes and no, so that `n` is no."""
        return any(self.plain(piece) in _YES_OR_NO for line in lines for piece in self.pieces(line))

    def letters_of_rows(self, lines: list[Line]) -> Mapping[str, str]:
        """The letters that name rows, if they do: most of them, and each another one."""
        names = [self.plain(next(self.pieces(line), (line.start, line.start))) for line in lines]
        found = [name for name in names if name in self._words.letters]
        if len(found) < _FEWEST_LETTERS or len(set(found)) < len(found) or 2 * len(found) <= len(names):
            return {}
        return self._beside(self._words.letters[name] for name in found)

    def _beside(self, sites: Iterable[str]) -> Mapping[str, str]:
        """What letters stand for beside others, which name these sites."""
        letters = self._words.letters
        return {**letters, **self._words.beside_knee} if "patellar" in sites else letters

    def abdomen(self, lines: list[Line]) -> Token | None:
        """As in "Abdominal reflexes  R  L": the name over the parts of the abdomen."""
        for line in lines:
            if any(token.kind in ("value", "pair") for token in line.tokens):
                continue
            first = next(self.pieces(line), None)
            if first is not None and self._words.names.get(self.plain(first)) == "abdominal":
                return Token("site", *self._word(first), "abdominal")
            for token in line.tokens:
                if token.kind == "site" and token.meaning == "abdominal":
                    return token
        return None

    def has_plus(self, lines: list[Line]) -> bool:
        """Whether a plus alone fills a cell, so that a minus is its opposite."""
        return any(self.plain(piece) == "+" for line in lines for piece in self.pieces(line))

    def _is_lost(self, line: Line, piece: Piece) -> bool:
        """Whether a cell holds words, and they are no tokens because elsewhere they say nothing."""
        if any(piece[0] < token.end and token.start < piece[1] for token in line.tokens):
            return False
        return any(letter.isalnum() for letter in self._text[piece[0] : piece[1]])

    def _time(self, piece: Piece) -> list[Token]:
        said = self._text[piece[0] : piece[1]]
        if self.times.says_time(said):
            return [Token("time", piece[0], piece[0] + len(said.partition("(")[0].rstrip(" :*_") or said))]
        ordered = _TRAILING_ORDER.fullmatch(said) if "/" in said else None
        if ordered and self.times.says_time(ordered["time"]):
            order = "right-left" if ordered["first"].lower() == "r" else "left-right"
            start, end = piece[0] + ordered.start("order"), piece[0] + ordered.end("order")
            time = Token("time", piece[0], piece[0] + ordered.end("time"))
            return [time, Token("side_ref", start, end, order)]
        parted = _TRAILING_SIDE.fullmatch(said) if said.rstrip(")")[-1:] in _ENDS_OF_SIDES else None
        if parted and self.times.says_time(parted["time"]):
            side = _SIDES[parted["side"][0].lower()]
            start = piece[0] + parted.start("side")
            return [
                Token("time", piece[0], piece[0] + parted.end("time")),
                Token("side", start, start + len(parted["side"]), side),
            ]
        return []

    def _side_and_time(self, piece: Piece) -> list[Token]:
        """As in "R now", "Left (before)": a head may name the side first."""
        parted = _LEADING_SIDE.fullmatch(self._text[piece[0] : piece[1]])
        if parted is None or not self.times.says_time(parted["time"]):
            return []
        time = piece[0] + parted.start("time")
        return [
            Token("side", piece[0], piece[0] + len(parted["side"]), _SIDES[parted["side"][0].lower()]),
            Token("time", time, time + len(parted["time"])),
        ]

    def _word(self, piece: Piece) -> Piece:
        """The place of a cell without the marks that close it."""
        return piece[0], piece[0] + len(self._text[piece[0] : piece[1]].rstrip(".: "))

    def _names_part(self, plain: str) -> bool:
        """Whether the words of a cell name a part of the abdomen in full."""
        return self._words.names.get(plain, "").startswith("abdominal:")

    def _limb(self, piece: Piece) -> str | None:
        return self._words.limbs.get(self.plain(piece))

    def _letters(self, line: Line, said: list[tuple[Piece, str]]) -> list[Token]:
        names = self._beside(self._words.letters.get(plain, "") for _, plain in said)
        named = [(piece, names.get(plain)) for piece, plain in said]
        if named[0][1] is None:
            named = named[1:]
        if len(named) < _FEWEST_LETTERS:
            return []
        found = [Token("site", *self._word(piece), site, _IN_CELLS) for piece, site in named if site]
        others = [piece for piece, site in named if not site]
        sites = [token.meaning for token in found]
        known = all(_names_a_site(line, piece) for piece in others)
        return found if found and known and len(set(sites)) == len(sites) else []

    def _name(self, piece: Piece, *, letters: Mapping[str, str], abdomen: bool) -> Token | None:
        plain = self.plain(piece)
        plain = f"{plain} abdominal" if abdomen and f"{plain} abdominal" in self._words.names else plain
        if plain in self._words.names:
            site = self._words.names[plain]
            return Token(
                "site", *self._word(piece), site, _IN_CELLS | ({"plantars"} if site == "plantar" else set())
            )
        limb = self._limb(piece)
        if limb is not None:
            return Token("region", *piece, limb, _OF_LIMBS)
        if plain in letters:
            return Token("site", *self._word(piece), letters[plain], _IN_CELLS)
        return None


def _sided_limb(line: Line, piece: Piece) -> str | None:
    """As in "R UL", "left leg": a side and a limb in one head."""
    inside = [token for token in line.tokens if piece[0] <= token.start < piece[1]]
    sides = [token.meaning for token in inside if token.kind == "side" and token.meaning in _SIDES.values()]
    limbs = [t.meaning for t in inside if t.kind == "region" and "limb" in t.flags and ":" not in t.meaning]
    return f"{limbs[0]}:{sides[0]}" if len(inside) == 2 and sides and limbs else None


def _names_a_site(line: Line, piece: Piece) -> bool:
    inside = [token for token in line.tokens if piece[0] <= token.start < piece[1]]
    return bool(inside) and all(token.kind == "site" for token in inside)


def _with(line: Line, made: list[Token]) -> Line:
    """A line in which some tokens take the place of those under them."""
    if not made:
        return line
    kept = [t for t in line.tokens if not any(t.start < new.end and new.start < t.end for new in made)]
    return replace(line, tokens=sorted([*kept, *made], key=lambda token: token.start))
