"""As many values as names, in the same order: "2+, 1+ and 0 at the biceps, knees and ankles respectively"."""

import re
from dataclasses import replace
from typing import TYPE_CHECKING

from converter.reading.grammar.drafting import draft
from converter.reading.grammar.other_sides import on_side, other_sides
from converter.reading.grammar.parser import LINKS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.phrases import take
from converter.reading.grammar.targets import targets_at, targets_here
from converter.reading.written import Run, Written

if TYPE_CHECKING:
    from converter.reading.tokens import Token

_TWO_SIDES = re.compile(r"(?P<first>right|left|rt|lt|r|l)\s*(?:and|&|/)\s*(?:right|left|rt|lt|r|l)")
_BOTH = 2
_ROW = 3


def sides_in_order(p: Parser) -> bool:
    """For each side a value of each name: "Knee and ankle jerks: R 2+ and 1+, L 3+ and 2+".

    sides_in_order = [ targets [ link ] ] SIDE values { "," SIDE values } ;
    """
    targets, index = targets_here(p)
    if not targets and p.index == 0:  # the names may stand before a semicolon
        targets = p.context.last
    if len(targets) < _BOTH or any(target.foreign or not target.specific for target in targets):
        return False
    if targets[0].side is None and p.kind(index - 1) == "side" and index > p.index:
        index -= 1  # the side behind the names is of the values
    took = False
    while True:
        start = p.skip(index, *LINKS, "comma", "and", "but", "slash")
        values, after = _values(p, p.skip(start + 1, *LINKS)) if p.kind(start) == "side" else ([], start)
        if len(values) != len(targets) or _belongs_behind(p, after):
            p.index = index if took else p.index
            p.context.last = targets if took else p.context.last
            return took
        side = p.tokens[start]
        for target, phrase in zip(targets, values, strict=True):
            phrase.used.append((side, "side"))
            took = draft(p, [on_side(target, side.meaning)], phrase) or took
        index = after


def respectively(p: Parser) -> bool:
    """As many values as names, in the same order.

    respectively = targets [ link ] values [ RESPECTIVELY ]
                 | values AT targets RESPECTIVELY
                 | target [ link ] values AT SIDE RESPECTIVELY
                 | targets [ link ] SIDE value { value } [ "," ] SIDE value { value }
                 | targets [ link ] [ SIDE ] RUN { "," SIDE RUN } ;
    values = value { "," value } AND value ;
    """
    return (
        _names_then_rows(p)
        or _names_then_run(p)
        or _names_then_values(p)
        or _values_then_names(p)
        or _sides_then_name(p)
    )


def _sides_then_name(p: Parser) -> bool:
    """As in "R2+ L1+ KJ": a value for each side, then the name."""
    found: list[tuple[Token, Phrase]] = []
    index = p.index
    while p.kind(index) == "side" and p.kind(index + 1) in VALUES and len(found) < _BOTH:
        phrase = Phrase(used=[(p.tokens[index], "side")])
        take(p, index + 1, phrase)
        found.append((p.tokens[index], phrase))
        index = p.skip(index + 2, "comma", "slash")
    targets, end = targets_at(p, index, after_value=True)
    sides = {token.meaning for token, _ in found}
    if sides != {"left", "right"} or len(targets) != 1 or targets[0].foreign or targets[0].side:
        return False
    for token, phrase in found:
        draft(p, [on_side(targets[0], token.meaning)], phrase)
    p.index = end
    return True


def _names_then_rows(p: Parser) -> bool:
    """As in "BJ TJ KJ: R 2 2 3, L 2 1 3": for each side as many grades in a row as there are names.

    Where a row is longer or shorter nobody can tell which grade is whose, so nothing is read.
    """
    targets, index = targets_here(p)
    if not targets and p.index == 0:
        last = p.context.last if len(p.context.last) >= _ROW else p.context.listed
        targets = [on_side(target, None) for target in last]
    if len(targets) < _ROW or not all(target.specific for target in targets):
        return False
    if p.kind(index - 1) == "side" and targets[-1].used[-1][0] is p.tokens[index - 1]:
        index -= 1
    begun = False
    while p.kind(side := p.skip(index, *LINKS, "comma", "slash")) == "side":
        row, after = _row(p, p.skip(side + 1, *LINKS))
        if len(row) < 2 or (len(row) != len(targets) and not begun and p.kind(after - 2) in ("comma", "and")):
            break
        begun, index = True, after
        for target, phrase in zip(targets, row, strict=False) if len(row) == len(targets) else ():
            phrase.used.append((p.tokens[side], "side"))
            draft(p, [on_side(target, p.tokens[side].meaning)], phrase)
    if begun:
        p.index, p.context.last = index, targets
    return begun


def _row(p: Parser, index: int) -> tuple[list[Phrase], int]:
    """Grades in a row, with nothing or a comma between them, and the index after them."""
    row: list[Phrase] = []
    while True:
        at = p.skip(index, "comma") if row else index
        written = p.tokens[at].written if p.kind(at) == "value" else None
        if not isinstance(written, Written) or not (
            written.graded or written.descriptor in ("absent", "trace")
        ):
            return row, index
        row.append(Phrase())
        take(p, at, row[-1])
        index = at + 1


def _names_then_run(p: Parser) -> bool:
    """As in "DTRs (bi/tri/br): R 2+/2+/1+, L 2+/1+/1+": a slash parts the values of the names."""
    targets, index = targets_here(p)
    if not targets and p.index == 0:  # the names may stand before a semicolon
        targets = [on_side(target, None) for target in p.context.last]
    if not targets or any(target.foreign or target.general for target in targets):
        return False
    took = False
    while True:
        start = p.skip(index, *LINKS, "comma", "and")
        side = p.tokens[start] if p.kind(start) == "side" else None
        run = p.skip(start + 1, *LINKS) if side is not None else start
        written = p.tokens[run].written if p.kind(run) == "run" else None
        if not isinstance(written, Run) or len(written.values) != len(targets):
            if took:
                p.index, p.context.last = index, targets
            return took
        for target, phrase in zip(targets, _parts(p.tokens[run], written), strict=True):
            if side is not None:
                phrase.used.append((side, "side"))
            about = on_side(target, side.meaning) if side is not None else target
            took = draft(p, [about], phrase) or took
        p.tokens[run].used = "value"
        index = run + 1
        if side is None:
            index = _side_of_all(p, index, len(targets))


def _belongs_behind(p: Parser, index: int) -> bool:
    """Whether a side stands behind its value: in "R 2+, 1+ L" the second value is of the left."""
    one = p.kind(index) == "side" and p.tokens[index].meaning in ("left", "right")
    return one and p.kind(p.skip(index + 1, *LINKS)) not in VALUES


def _side_of_all(p: Parser, index: int, count: int) -> int:
    """As in "2+/2+/1+ bilaterally": the side of all values of a run."""
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right", "both"):
        return index
    if all(made.side != "unspecified" for made in p.drafts[-count:]):
        return index  # the side of the run behind it
    for made in p.drafts[-count:]:
        if made.side == "unspecified":
            made.side = p.context.graded_side = p.tokens[index].meaning
            made.used = [*made.used, (p.tokens[index], "side")]
    p.mark([(p.tokens[index], "side")])
    return index + 1


def _parts(token: "Token", written: Run) -> list[Phrase]:
    """Each value of a run, with its own place in the text."""
    phrases, start = [], token.start
    for value in written.values:
        length = 2 if value.plus == "trailing" else 1
        own = replace(token, kind="value", start=start, end=start + length, written=value)
        phrases.append(Phrase(value=value, used=[(own, "value")]))
        start += length + 1
    return phrases


def _names_then_values(p: Parser) -> bool:
    targets, index = targets_here(p)
    if not targets or any(target.foreign for target in targets):
        return False
    values, after = _values(p, p.skip(index, *LINKS))
    if len(targets) == 1 and len(values) == 2:
        return _on_both_sides(p, targets[0], values, after)
    return _zip(p, targets, values, after)


def _on_both_sides(p: Parser, target: Target, values: list[Phrase], index: int) -> bool:
    """As in "1+ and 3+ on the right and left respectively"."""
    at = p.skip(index, "at")
    mark = p.skip(at + 1, "comma")
    if p.kind(at) != "side" or p.tokens[at].meaning != "both" or p.kind(mark) != "respectively":
        return False
    order = ("right", "left") if p.word(at).startswith("r") else ("left", "right")
    for side, phrase in zip(order, values, strict=True):
        phrase.used.append((p.tokens[at], "side"))
        draft(p, [on_side(target, side)], phrase)
    p.mark([(p.tokens[mark], "detail")])
    p.index = mark + 1
    return True


def _values_then_names(p: Parser) -> bool:
    """As in "2+ and 1+ at the knees and ankles respectively", perhaps behind the noun."""
    values, index = _values(p, p.index)
    noun: list[Target] = []
    if not values:
        noun, index = targets_here(p)
        if not noun or not all(target.general for target in noun):
            return False
        values, index = _values(p, p.skip(index, *LINKS))
    if len(values) < 2:
        return False
    targets, after = targets_at(p, p.skip(index, "at"), after_value=False)
    if p.kind(p.skip(after, "comma", "open")) != "respectively":
        return False
    if len(targets) == 1 < len(values):
        targets = _sides_in_words(p, targets[0])
    for target in targets if noun else ():
        target.used = [*((token, "header") for one in noun for token, _ in one.used), *target.used]
    return _zip(p, targets, values, after)


def _sides_in_words(p: Parser, target: Target) -> list[Target]:
    """As in "2+ and 3+ in the right and left knees, respectively": the sides in the order of the words."""
    words = [(token, role) for token, role in target.used if role == "side"]
    said = p.text[words[0][0].start : words[0][0].end].lower() if len(words) == 1 else ""
    order = _TWO_SIDES.fullmatch(said)
    if order is None:
        return [target]
    sides = ("right", "left") if order["first"].startswith("r") else ("left", "right")
    sided = [on_side(target, side) for side in sides]
    return [replace(one, used=[*one.used, *words]) for one in sided]


def _values(p: Parser, index: int) -> tuple[list[Phrase], int]:
    phrases: list[Phrase] = []
    while p.kind(index) in VALUES and not getattr(p.tokens[index].written, "weak", False):
        phrase = Phrase()
        take(p, index, phrase)
        phrases.append(phrase)
        index += 1
        following = p.skip(index, "comma", "and")
        if p.kind(following) not in VALUES:
            return phrases, index
        index = following
    return phrases, index


def _zip(p: Parser, targets: list[Target], values: list[Phrase], after: int) -> bool:
    if len(values) != len(targets) or len(values) < 2 or _belongs_behind(p, after):
        return False
    for target, phrase in zip(targets, values, strict=True):
        draft(p, [target], phrase)
    p.context.last = targets
    end = p.skip(after, "comma", "open")
    if p.kind(end) == "respectively":
        p.mark([(p.tokens[end], "detail")])
        after = p.skip(end + 1, "close")
        after = _said_of_all(p, p.skip(after, "at"), len(targets)) or after
    p.index = other_sides(p, after, targets)
    return True


def _said_of_all(p: Parser, index: int, count: int) -> int:
    """As in "2+, 1+ and 3+ respectively on the right"; 0 where no such words stand there."""
    ends = p.kind(index) == "side" and p.kind(index + 1) in ("end", "comma")
    return _side_of_all(p, index, count) if ends else 0
