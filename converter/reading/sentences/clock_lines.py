"""Keeps apart what lines say that begin with a time of day: "10:00 knee jerks present", "11:00 KJ absent".

Takes the text of a note and its drafts; gives the drafts of such lines to an examination of their own, where
the note has several. Times of day without a date are those of one day, so all are of the present.
"""

import re
from bisect import bisect_right

from converter.reading.clocks import CLOCK, YEAR
from converter.reading.grammar.parts import Draft
from converter.reading.layouts.table_cells import keep_apart
from converter.reading.tokens import Token

_LINE = re.compile(rf"^[ \t*•-]*(?P<clock>{CLOCK.pattern})", re.IGNORECASE | re.MULTILINE)
"""A line that begins with one."""


def keep_clocks_apart(text: str, drafts: list[Draft]) -> None:
    """Give the present findings of each line that begins with a time of day to an examination then."""
    lines = list(_LINE.finditer(text)) if drafts else []
    if len(lines) < 2:
        return
    starts = [line.start() for line in lines]
    found: list[tuple[Draft, re.Match[str]]] = []
    for draft in drafts:
        place = min((t.start for t, role in draft.used if role == "value"), default=None)
        place = min(t.start for t, _ in draft.used) if place is None else place
        line = lines[max(0, bisect_right(starts, place) - 1)]
        own = line.end() <= place and not any(mark in text[line.end() : place] for mark in "\r\n")
        if own and draft.status == "current" and not any(token.kind == "clock" for token, _ in draft.used):
            found.append((draft, line))
    clocks = {line["clock"] for _, line in found}
    if len(clocks) < 2 or all(YEAR.fullmatch(clock) for clock in clocks):
        return
    for draft, line in found:
        keep_apart([draft], Token("clock", line.start("clock"), line.end("clock")))
