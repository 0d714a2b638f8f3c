"""Takes in a second name in brackets: "Patellar (knee) 3+", "Plantar (Babinski): up", "Clonus (ankle): none".

Takes the tokens of a note; gives a name and a second one of the same reflex as one token, and clonus with the
joints in brackets behind it, or behind a dash in a row or before a colon, as clonus at each of them.
"""

from dataclasses import replace

from converter.reading.grammar.clonus_places import CLONUS_AT
from converter.reading.tokens import Token

_CLONUS = "clonus_unspecified"
_JOINS = frozenset({"site", "side", "comma", "and", "slash", "at"})
_LONGEST = 8
"""Tokens that brackets with joints hold at most."""
_ENDS_ROW = frozenset({"pipe", "colon"})


def with_second_names_taken_in(tokens: list[Token]) -> list[Token]:
    """The tokens of a note; a name and the brackets with its second name are one token."""
    if not any(token.kind == "open" for token in tokens) and not any(t.meaning == _CLONUS for t in tokens):
        return tokens
    found: list[Token] = []
    index = 0
    while index < len(tokens):
        token, made, after = tokens[index], None, index + 1
        if token.kind == "site":
            made, after = _second_name(tokens, index)
            if made is None and token.meaning == _CLONUS:
                made, after = _joints(tokens, index)
        found += made if made is not None else [token]
        index = after
    return found


def _second_name(tokens: list[Token], index: int) -> tuple[list[Token] | None, int]:
    """The name at an index with a second name of its reflex in brackets behind it, and the index after."""
    first, inside, end = tokens[index], tokens[index + 1 : index + 4], index + 4
    if [token.kind for token in inside] != ["open", "site", "close"]:
        return None, index + 1
    alike = first.meaning.partition(":")[0] == inside[1].meaning.partition(":")[0]
    if not alike or "root" in inside[1].flags:
        return None, index + 1
    flags = first.flags | (inside[1].flags & {"trigger"})
    return [replace(first, end=inside[2].end, flags=flags)], end


def _joints(tokens: list[Token], index: int) -> tuple[list[Token] | None, int]:
    """Clonus with the joints behind it as clonus at each of them, and the index after."""
    opened = len(tokens) > index + 1 and tokens[index + 1].kind == "open"
    dashed = [token.kind for token in tokens[index + 1 : index + 4]]
    if opened:
        within = tokens[index + 2 : index + 2 + _LONGEST]
        length = next((n for n, token in enumerate(within) if token.kind == "close"), 0)
        inside, end = within[:length], index + length + 3
    elif dashed[:2] == ["dash", "site"] and dashed[2:3] and dashed[2] in _ENDS_ROW:
        inside, end = tokens[index + 2 : index + 3], index + 3
    else:
        return None, index + 1
    joints = [token for token in inside if token.kind == "site"]
    if not joints or not all(token.kind in _JOINS for token in inside):
        return None, index + 1
    if not all(joint.meaning in CLONUS_AT for joint in joints):
        return None, index + 1
    clonus = tokens[index]
    made = [_seen_at(token, clonus) if token.kind == "site" else token for token in inside]
    if made[0].kind == "site":
        made[0].start = clonus.start
    return made, end


def _seen_at(joint: Token, clonus: Token) -> Token:
    return replace(joint, meaning=CLONUS_AT[joint.meaning], flags=clonus.flags)
