"""Shapes that arrange or set aside what follows: legends, pair orders, plans, leading sides and regions."""

import re

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.targets import targets_at
from converter.reading.written import Written

_PLANS_REACH = 4
_EXPLAINED = 2
_EXPLANATIONS = frozenset({"value", "other", "site", "clonus_word", "condition", "no"})
_MORE_EXPLANATION = frozenset({"other", "with", "clonus_word", "value"})
_MINUS_FOUR_TO_FOUR = re.compile(r"[-–−]\s?4\s*(?:to|\.\.+|-|–)\s*\+?\s?4")


def legend(p: Parser) -> bool:
    """A legend of the grades: it tells the scale and is no finding.

    legend = LEGEND { WORD | value | ":" | "=" | "," | "-" } | explained "," explained { "," explained } ;
    explained = GRADE "=" VALUE ;
    """
    if p.kind(p.index) != "legend":
        return _explains_grades(p)
    if p.tokens[p.index].meaning and p.kind(p.index + 1) == "colon":
        p.mark_range(p.index, p.index + 2, "legend")
        p.index += 2
        return True
    inside = p.kind(p.index - 1) == "open"
    if not inside and p.index > 3:
        return False
    end = (
        next((i for i in range(p.index, len(p.tokens)) if p.kind(i) == "close"), len(p.tokens))
        if inside
        else len(p.tokens)
    )
    said = p.text[p.tokens[p.index].start : p.tokens[end - 1].end]
    if not p.tokens[p.index].meaning and _MINUS_FOUR_TO_FOUR.search(said):
        p.tokens[p.index].meaning = "nine-step"
    p.mark_range(p.index if inside else 0, end, "legend")
    p.index = p.skip(end + 1, "colon") if inside else end
    return True


def _explains_grades(p: Parser) -> bool:
    """As in "0 = absent, 2+ = normal, 4+ = clonus": at least two, or one that is all of its sentence."""
    index, said = p.index, 0
    while _is_grade(p, index) and p.kind(index + 1) == "equals" and p.kind(index + 2) in _EXPLANATIONS:
        index += 3
        while _goes_on(p, index):
            index += 1
        said += 1
        index = p.skip(index, "comma")
    if said < _EXPLAINED and not (said and p.index == 0 and p.kind(index) == "end"):
        return False
    p.mark_range(p.index, index, "legend")
    p.index = index
    return True


def _goes_on(p: Parser, index: int) -> bool:
    """Whether a word still belongs to what a grade means: "brisk with clonus"."""
    return (p.kind(index) in _MORE_EXPLANATION and not _is_grade(p, index)) or p.has(index, "sign")


def _is_grade(p: Parser, index: int) -> bool:
    written = p.tokens[index].written if p.kind(index) == "value" else None
    return isinstance(written, Written) and written.graded


def pair_order(p: Parser) -> bool:
    """Which side the first of two values belongs to: "(R/L)".

    pair_order = "(" SIDE_REF ")" | SIDE_REF [ ":" ] ;
    """
    if p.kind(p.index) != "side_ref":
        return False
    p.context.pair_order = p.tokens[p.index].meaning
    p.context.pairs = True
    p.mark([(p.tokens[p.index], "header")])
    p.index = p.skip(p.index + 1, "close", "colon", "dash")
    return True


def planned(p: Parser) -> bool:
    """A plan or a test without a result: "will recheck reflexes".

    planned = FUTURE { WORD | AT } targets ;
    """
    if p.kind(p.index) != "future":
        return False
    start = p.index + 1
    while (
        p.kind(start) in ("other", "at", "and", "is", "side", "past", "uncertain")
        and start - p.index < _PLANS_REACH
    ):
        start += 1
    if p.kind(start) == "value" and p.word(start - 1) == "for":  # "monitor for loss of reflexes"
        start += 1
    targets, end = targets_at(p, start, after_value=False)
    if (
        not targets
        or all(target.foreign for target in targets)
        or p.kind(p.skip(end, "is", "colon")) in VALUES
    ):
        return False
    p.mark([(p.tokens[p.index], "assertion")])
    for target in targets:
        p.mark([(token, "plan") for token, _ in target.used])
    p.index = end
    return True


_BEHIND_A_LIMB = frozenset({"comma", "site", "anaphor", "is", "other_exam"})
"""As in "in the legs there was", "in the legs power was 4/5 and reflexes 2+"."""
_HAS = frozenset(
    {"had", "has", "have", "show", "showed", "shows", "reveal", "reveals", "revealed"}
    | {"demonstrate", "demonstrates", "demonstrated"}
)


def lead_side(p: Parser) -> bool:
    """A side that leads what follows: "Right: biceps 2+, knee 2+", "On the left, ...".

    lead_side = SIDE ":" | AT SIDE "," | "(" SIDE ")" | REGION SIDE ":" ;
    """
    if _limb_leads(p):
        return True
    index = p.skip(p.index, "at", "open", "bullet", "pipe")
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right", "both"):
        return False
    after = p.skip(index + 1, "close")
    if p.kind(index - 1) == "open" and _leads_block(p, after):
        p.context.side = resolve_side(p, p.tokens[index])
        p.mark([(p.tokens[index], "side")])
        p.index = after
        return True
    led = p.kind(after) in ("colon", "dash", "equals") or (index > p.index and p.kind(after) == "comma")
    if index > p.index == 0 and p.kind(after) in HEADS and p.between(index) == "the":
        led, after = True, after - 1  # "on the right the knee jerk is 2+ and the ankle jerk 1+"
    if index > p.index == 0 and _speaks_again(p, after):
        led, after = True, after - 1  # "on the right all three are normal"
    denied = p.skip(after, "comma", "is") if index > p.index == 0 else after
    if denied > after and p.kind(denied) == "no":  # "on the right there is no clonus"
        led, after = True, denied - 1
    if led and p.kind(after + 1) == "end" and p.context.reflexes:
        p.context.block_side = resolve_side(p, p.tokens[index])
        p.mark([(p.tokens[index], "side")])
        p.index = after + 1
        return True
    if not led:
        return False
    valued = p.kind(after + 1) in VALUES and p.kind(after + 2) in HEADS
    again = p.kind(after + 1) in HEADS or _speaks_again(p, after + 1)
    if not (again or p.kind(after + 1) == "no" or valued):
        return False
    p.context.side = resolve_side(p, p.tokens[index])
    p.mark([(p.tokens[index], "side")])
    p.index = after + 1
    return True


def _speaks_again(p: Parser, index: int) -> bool:
    """Whether what was named before is spoken of again: "they are", "all three are", "both were"."""
    counted = p.kind(index) == "side" and p.tokens[index].meaning == "both" and p.word(index) == "both"
    return (p.kind(index) == "anaphor" or counted) and p.kind(index + 1) == "is" and bool(p.context.last)


def _limb_leads(p: Parser) -> bool:
    """As in "LL R: tone normal, KJ 2+": a limb and its side, then what was found there."""
    side, after = p.index + 1, p.index + 2
    led = (
        p.kind(p.index) == "region"
        and p.has(p.index, "limb")
        and p.kind(side) == "side"
        and p.kind(after) == "colon"
    )
    named = any(p.kind(i) == "site" and p.has(i, "trigger") for i in range(after, len(p.tokens)))
    if not led or not named or p.kind(after + 1) in VALUES:
        return False
    p.context.side = resolve_side(p, p.tokens[side])
    p.mark([(p.tokens[p.index], "region"), (p.tokens[side], "side")])
    p.index = after + 1
    return True


def _leads_block(p: Parser, after: int) -> bool:
    """Whether a side in brackets leads two reflexes or more, up to the other side in brackets."""
    names = 0
    for index in range(after, len(p.tokens)):
        if p.kind(index) == "side":
            return names >= 2 and p.kind(index - 1) == "open"
        names += p.kind(index) == "site"
    return names >= 2 and any(p.kind(i) == "open" and p.kind(i + 1) == "side" for i in range(after - 2))


def lead_region(p: Parser) -> bool:
    """A region that leads what follows: "In the legs, reflexes are absent", "the lower limb had ...".

    lead_region = [ AT ] [ SIDE ] REGION [ REFLEX ] ":" | AT [ SIDE ] REGION "," | [ SIDE ] REGION "had" ;
    """
    start = p.skip(p.index, "at")
    begins = p.index <= 2 or p.kind(p.index - 1) == "comma"
    found = _plain_region(p, start)
    if found is None:
        return False
    region, index = found
    listed = p.kind(index) == "reflex" and p.kind(index + 1) == "comma" and p.kind(index + 2) == "other_exam"
    if listed:  # "in the arms reflexes, power and light touch were normal"
        return False
    index = p.skip(index, "reflex")
    follows = p.kind(index) in _BEHIND_A_LIMB
    led = p.kind(index) == "colon" or (start > p.index == 0 and follows)
    had = p.kind(index) == "is" and p.word(index) in _HAS
    if (
        not (begins or p.kind(index) == "colon")
        or (not led and not had)
        or (led and p.index > 2 and p.kind(index) != "colon")
    ):
        return False
    if not (_reflexes_later(p, index + 1) or p.reflexive[start]) or (led and _value_of_region(p, index + 1)):
        return False
    p.mark(region.used)
    p.mark_range(start, index, "header")
    p.context.region = region
    p.context.side = region.side or p.context.side
    p.index = index if p.kind(index) in ("site", "anaphor", "other_exam") else index + 1
    return True


def _value_of_region(p: Parser, index: int) -> bool:
    """As in "RLE reflexes: 2+.": the value is the region's own."""
    index = p.skip(index, "uncertain")
    if p.kind(index) == "side" and p.kind(index + 1) in VALUES:
        return not any(p.kind(i) in HEADS for i in range(index, len(p.tokens)))
    own = p.kind(index) in VALUES or p.kind(index) == "untested"
    after = p.skip(index + 1, "value", "side", "at")
    own = own and p.kind(after) != "other_exam"  # "there was increased tone"
    return own and (p.kind(after) not in HEADS or p.kind(p.skip(after + 1, "colon", "is")) in VALUES)


def _plain_region(p: Parser, start: int) -> tuple[Target, int] | None:
    index = start
    side = None
    used = []
    if p.kind(index) == "side":
        side = resolve_side(p, p.tokens[index])
        used.append((p.tokens[index], "side"))
        index += 1
    if p.kind(index) != "region" or p.tokens[index].flags & {"partial", "bare"}:
        return None
    token = p.tokens[index]
    site, _, own = token.meaning.partition(":")
    return Target(site, side=side or own or None, region=True, used=[*used, (token, "region")]), index + 1


def _reflexes_later(p: Parser, index: int) -> bool:
    return any(p.kind(i) in ("reflex", "condition") for i in range(index, len(p.tokens)))
