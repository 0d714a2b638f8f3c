"""Takes in what brackets say again of a name: "Patellar (knee)", "Biceps (C5, C6)", "Clonus (ankle): none".

Takes the tokens of a note; gives a name and a second one of the same reflex as one token, and clonus with the
joints in brackets behind it, or behind a dash in a row or before a colon, as clonus at each of them.
"""

from dataclasses import replace

from converter.reading.grammar.clonus_places import CLONUS_AT
from converter.reading.tokens import Token

_CLONUS = "clonus_unspecified"
_OF_FINGERS = frozenset({"hoffmann", "finger_flexor"})
_MANNER = frozenset({"position", "technique", "manoeuvre", "reinforcement"})
_HOW = frozenset({"other", "other_exam", "region", "at", "and", "comma", "slash"})
_LINKS = frozenset({"is", "colon", "equals"})
_BEFORE_ANSWER = _LINKS | {"side"}
_ANSWERS = frozenset({"value", "pair", "count", "untested"})
_JOINS = frozenset({"site", "side", "comma", "and", "slash", "at"})
_BETWEEN_NAMES = frozenset({"site", "comma", "slash", "dash", "and"})
_SAID_OF_CLONUS = frozenset({"clonus_word", "no", "count"})
_BEFORE_CLAUSE = frozenset({"comma", "stop", "newline", "colon", "and", "but", "bullet"})
_FEW = 2
"""Words that stand between a joint and its clonus at most."""
_LONGEST = 8
"""Tokens that such brackets hold at most."""
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
            if made is None:
                made, after = (_joints if token.meaning == _CLONUS else _clonus_behind)(tokens, index)
        found += made if made is not None else [token]
        index = after
    return found


def _second_name(tokens: list[Token], index: int) -> tuple[list[Token] | None, int]:
    """The name at an index with what brackets behind it say of it again, and the index after.

    They hold other names of the reflex, several roots, or both; a root alone is left for the finding.
    """
    first, (inside, end) = tokens[index], _in_brackets(tokens, index)
    if "root" in first.flags and [token.kind for token in inside] == ["site"]:  # "C5 (BJ)"
        return [replace(inside[0], start=first.start, end=tokens[end - 1].end)], end
    if inside and _is_answered(tokens, end):
        if all(token.kind in _MANNER for token in inside):
            return [first, *inside], _past_link(tokens, end)
        if _says_how(first, inside):
            sought = next((token for token in inside if token.meaning == "hoffmann"), first)
            return [replace(sought, start=first.start, end=tokens[end - 1].end)], end
    sites = [token for token in inside if token.kind == "site"]
    named = [token for token in sites if "root" not in token.flags]
    alike = all(token.meaning.partition(":")[0] == first.meaning.partition(":")[0] for token in named)
    said = named or len(sites) > 1 or any(token.kind == "comma" for token in inside)
    if not (sites and alike and said and all(_tells_root(token) for token in inside)):
        return None, index + 1
    flags = first.flags | {flag for token in named for flag in token.flags & {"trigger"}}
    return [replace(first, end=tokens[end - 1].end, flags=flags)], end


def _says_how(first: Token, inside: list[Token]) -> bool:
    """As in "Hoffmann (finger flexion) neg", "Babinski (lateral sole) down": how it was sought, or where."""
    known = _HOW if first.meaning != _CLONUS else _HOW - {"region"}
    told = all(token.kind in known or _tells_how(token, first) for token in inside)
    return told and any(token.kind not in ("comma", "and", "slash") for token in inside)


def _tells_how(token: Token, first: Token) -> bool:
    """As the fingers of Hoffmann's sign and how they move, the toes of Babinski's, the beats of clonus."""
    if first.meaning in _OF_FINGERS:
        return token.meaning in _OF_FINGERS or getattr(token.written, "response", None) is not None
    if first.meaning == _CLONUS:
        return token.kind in ("no", "beat", "clonus_word")
    return "toes" in token.flags and first.meaning.partition(":")[0] == "plantar"


def _is_answered(tokens: list[Token], index: int) -> bool:
    """Whether the value of what stands before follows, perhaps behind its side."""
    while index < len(tokens) and tokens[index].kind in _BEFORE_ANSWER:
        index += 1
    return index < len(tokens) and tokens[index].kind in _ANSWERS


def _past_link(tokens: list[Token], index: int) -> int:
    while index < len(tokens) and tokens[index].kind in _LINKS:
        index += 1
    return index


def _in_brackets(tokens: list[Token], index: int) -> tuple[list[Token], int]:
    """The tokens in brackets right behind an index, and the index behind them; none without brackets."""
    if len(tokens) <= index + 1 or tokens[index + 1].kind != "open":
        return [], index + 1
    within = tokens[index + 2 : index + 2 + _LONGEST]
    length = next((n for n, token in enumerate(within) if token.kind == "close"), 0)
    return within[:length], index + length + 3


def _tells_root(token: Token) -> bool:
    """Whether a token is a name, a root, a mark between, or the bare number of a further root: "C5, 6"."""
    number = token.kind == "other" or getattr(token.written, "bare", False)
    return token.kind in _BETWEEN_NAMES or (number and token.end - token.start == 1)


def _joints(tokens: list[Token], index: int) -> tuple[list[Token] | None, int]:
    """Clonus with the joints behind it as clonus at each of them, and the index after."""
    inside, end = _in_brackets(tokens, index)
    dashed = [token.kind for token in tokens[index + 1 : index + 4]]
    if dashed[:2] == ["dash", "site"] and dashed[2:3] and dashed[2] in _ENDS_ROW:
        inside, end = tokens[index + 2 : index + 3], index + 3
    inside = [_foot_as_ankle(token) for token in inside]
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


def _foot_as_ankle(token: Token) -> Token:
    """Clonus of the foot is seen at the ankle."""
    foot = token.kind == "region" and "part" in token.flags and token.meaning == "lower_limb_all"
    return replace(token, kind="site", meaning="achilles") if foot else token


def _clonus_behind(tokens: list[Token], index: int) -> tuple[list[Token] | None, int]:
    """As in "R ankle sustained clonus", "L ankle no clonus": a joint before the clonus that is seen there."""
    joint, end = tokens[index], index + 1
    first = index - (index > 0 and tokens[index - 1].kind == "side")
    begins = first == 0 or tokens[first - 1].kind in _BEFORE_CLAUSE
    if joint.meaning not in CLONUS_AT or "place" not in joint.flags or not begins:
        return None, end
    end = said = end + (end < len(tokens) and tokens[end].kind == "is")  # "the right ankle shows"
    while end < len(tokens) and end - said < _FEW and tokens[end].kind in _SAID_OF_CLONUS:
        end += 1
    if end == said or end == len(tokens) or tokens[end].meaning != _CLONUS:
        return None, index + 1
    clonus = tokens[end]
    return [*tokens[said:end], replace(clonus, meaning=CLONUS_AT[joint.meaning])], end + 1


def _seen_at(joint: Token, clonus: Token) -> Token:
    return replace(joint, meaning=CLONUS_AT[joint.meaning], flags=clonus.flags)
