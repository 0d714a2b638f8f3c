"""Decides of a reflex noun without a value whether it heads what follows or was not understood.

Takes the sentences in order; marks the nouns that head values, and keeps those still waiting for one.
"""

import sys
from bisect import bisect_right

from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.targets import targets_at
from converter.reading.sentences.dividing import Sentence
from converter.reading.tokens import Token

_BETWEEN = ("colon", "dash", "open", "close", "side_ref", "equals", "comma", "bullet", "pipe", "legend", "is")
_LISTS = ("site", "comma", "and", "slash")
_MARKS = ("bullet", "other_mark", "dash", "pipe", "stop")


def settle_headings(p: Parser, pending: list[Token]) -> None:
    """Mark the nouns that head values of this sentence; keep one that ends it for the next.

    A noun that heads nothing stays unused, and so becomes unread.
    """
    first = p.skip(0, *_MARKS)
    if pending and p.drafts and first < len(p.tokens) and p.tokens[first].used:
        p.mark([(token, "header") for token in pending])
        pending.clear()
    for index, token in enumerate(p.tokens):
        speaks = "trigger" in token.flags or _names_a_line(p, token)
        if token.used or not speaks or token.kind not in ("reflex", "site", "region"):
            continue
        after = _behind(p, index)
        if token.kind == "site" and p.kind(after) in _LISTS:
            after = p.skip(_listed(p, index)[1], *_BETWEEN)
        if after >= len(p.tokens) and token.kind != "site" and _graded_before(p, index):
            token.used = "header"
            for draft in p.drafts:
                draft.used = [*draft.used, (token, "header")]
        elif after >= len(p.tokens):
            pending.append(token)
            if token.kind == "reflex":
                p.context.last = [Target("unspecified", general=True, used=[(token, "header")])]
            elif token.kind == "site":
                p.context.last = [target for target in _listed(p, index)[0] if target.specific]
        elif (p.tokens[after].used or p.kind(after) in ("at", "region", "side")) and _heads(p, token):
            token.used = "header"


def _names_a_line(p: Parser, token: Token) -> bool:
    """As in "Biceps:" in a line of its own under a heading of reflexes, over a line for each side."""
    alone = [t for t in p.tokens if t.kind not in ("bullet", "dash")]
    kinds = [t.kind for t in alone]
    return p.context.reflexes and kinds == ["site", "colon"] and alone[0] is token and "joint" in token.flags


def _listed(p: Parser, index: int) -> tuple[list[Target], int]:
    """The list of reflexes in which a name stands, for "All three are 2+" or "Left: 1+" behind."""
    start = index
    while p.kind(start - 1) in _LISTS or p.kind(start - 1) == "side":
        start -= 1
    return targets_at(p, p.skip(start, "comma", "and", "slash"), after_value=False)


def _graded_before(p: Parser, index: int) -> bool:
    """As in "RUE 2+ LUE 3+ reflexes": the noun at the end says what was graded."""
    return p.kind(index - 1) in VALUES and bool(p.tokens[index - 1].used)


def _behind(p: Parser, index: int) -> int:
    """The first token behind a noun that may be its value: "Reflexes (scale 0-4, R/L):" has none."""
    after = p.skip(index + 1, *_BETWEEN)
    if p.kind(after) == "side" and p.kind(after + 1) == "colon":
        return p.skip(after + 1, *_BETWEEN)
    if p.kind(index + 1) != "open":
        return after
    close = next((i for i in range(index + 2, len(p.tokens)) if p.kind(i) == "close"), index)
    inside = {p.kind(i) for i in range(index + 2, close)}
    return p.skip(close + 1, *_BETWEEN) if inside & {"legend", "side_ref"} else after


def _heads(p: Parser, token: Token) -> bool:
    """Whether a finding behind a noun may be of it: the knee jerks of "knee jerks, plantars down" are not."""
    site = token.meaning.partition(":")[0] if token.kind == "site" else None
    return any(
        min(t.start for t, _ in draft.used) > token.start and site in (None, draft.target.site)
        for draft in p.drafts
    )


def settle_before_layout(sentence: Sentence | None, pending: list[Token], starts: list[int]) -> None:
    """A heading right before a table or figure is its heading."""
    if not pending or not starts:
        return
    following = bisect_right(starts, pending[-1].start)
    end = sentence.tokens[0].start if sentence is not None else sys.maxsize
    if following < len(starts) and starts[following] < end:
        for token in pending:
            token.used = "header"
        pending.clear()
