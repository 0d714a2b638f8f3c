"""Reads the roots beside the name of a tendon, which only explain it: "Biceps (C5)", "Supinator C5/6"."""

import re

from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Target

_ROOTS_REACH = 5


def past_roots(p: Parser, target: Target, index: int) -> int:
    """The index behind the roots that a note gives beside a tendon, in brackets or not: "Biceps (C5)"."""
    if p.kind(index) != "open" or not p.has(index + 1, "root"):
        return _past_root(p, target, index)
    close = p.skip(index + 2, "slash", "dash", "other", "comma", "and", "value")
    if p.kind(close) != "close" or close - index > _ROOTS_REACH:
        return index
    target.root = _root(p, index + 1) if close == index + 2 else None
    target.used += [(token, "detail") for token in p.tokens[index + 1 : close]]
    return close + 1


def _past_root(p: Parser, target: Target, index: int) -> int:
    """As in "Biceps C5: 2+", "Supinator C5/6  R 2+": a root without brackets right behind the tendon."""
    named = target.flags & {"joint", "trigger"} and not target.flags & {"root", "sign", "toes", "plantars"}
    if not named or not _is_root(p, index):
        return index
    end = index + 1
    end += _is_number_of_root(p, end)
    while p.kind(end) in ("slash", "dash", "comma", "and") and _continues_root(p, end + 1):
        end += 2
    if p.kind(end) not in ("colon", "side", "dash", "equals", "pipe", "pair", "value", "end", "open"):
        return index
    target.root = _root(p, index) if end == index + 1 else None
    target.used += [(token, "detail") for token in p.tokens[index:end]]
    return end


def _root(p: Parser, index: int) -> str | None:
    """The root itself; a range of roots, as "C5-6", is none."""
    return p.tokens[index].meaning.partition("root=")[2] or None


def _is_root(p: Parser, index: int) -> bool:
    return p.has(index, "root") and not p.has(index, "trigger")


def _is_number_of_root(p: Parser, index: int) -> bool:
    """As in "C5-6", whose end reads as a number by itself."""
    return p.kind(index) == "value" and re.fullmatch(r"[-–/]\d", p.word(index)) is not None


def _continues_root(p: Parser, index: int) -> bool:
    """As in "C5/6", "C5-C6": a second root, or only its number."""
    touches = (
        index > 0 and p.kind(index) in ("value", "other") and p.tokens[index - 1].end == p.tokens[index].start
    )
    return _is_root(p, index) or (touches and p.word(index).isdigit())
