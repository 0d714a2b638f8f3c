"""Decides of a reflex noun without a value whether it heads what follows or was not understood.

Takes the sentences in order; marks the nouns that head values, and keeps those still waiting for one.
"""

import sys
from bisect import bisect_right

from converter.reading.grammar.parser import Parser
from converter.reading.grammar.parts import Target
from converter.reading.sentences import Sentence
from converter.reading.tokens import Token

_BETWEEN = ("colon", "dash", "open", "close", "side_ref", "equals", "comma", "bullet")


def settle_headings(p: Parser, pending: list[Token]) -> None:
    """Mark the nouns that head values of this sentence; keep one that ends it for the next.

    A noun that heads nothing stays unused, and so becomes unread.
    """
    if pending and p.drafts and p.tokens[0].used:
        p.mark([(token, "header") for token in pending])
        pending.clear()
    for index, token in enumerate(p.tokens):
        if token.used or "trigger" not in token.flags or token.kind not in ("reflex", "site", "region"):
            continue
        after = p.skip(index + 1, *_BETWEEN)
        if after >= len(p.tokens):
            pending.append(token)
            if token.kind == "reflex":
                p.context.last = [Target("unspecified", general=True, used=[(token, "header")])]
        elif (p.tokens[after].used or p.kind(after) in ("at", "region", "side")) and _heads(p, token):
            token.used = "header"


def _heads(p: Parser, token: Token) -> bool:
    return any(min(t.start for t, _ in draft.used) > token.start for draft in p.drafts)


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
