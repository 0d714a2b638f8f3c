"""Shapes that arrange or set aside: leads, exceptions, comparisons, legends and plans."""

import re

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Details, Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.targets import resolve_side, target_at, targets_at

_PLANS_REACH = 4
_MINUS_FOUR_TO_FOUR = re.compile(r"[-–−]\s?4\s*(?:to|\.\.+|-|–)\s*\+?\s?4")


def legend(p: Parser) -> bool:
    """A legend of the grades: it tells the scale and is no finding.

    legend = legend_word { any } ;
    """
    if p.kind(p.index) != "legend":
        return False
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


def pair_order(p: Parser) -> bool:
    """Which side the first of two values belongs to: "(R/L)".

    pair_order = "R/L" | "L/R" ;
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

    planned = plan { word } targets ;
    """
    if p.kind(p.index) != "future":
        return False
    start = p.index + 1
    while p.kind(start) in ("other", "at", "and", "is", "side") and start - p.index < _PLANS_REACH:
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


def lead_side(p: Parser) -> bool:
    """A side that leads what follows: "Right: biceps 2+, knee 2+", "On the left, ...".

    lead_side = side ":" | at side "," ;
    """
    index = p.skip(p.index, "at", "open", "bullet", "pipe")
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right", "both"):
        return False
    after = p.skip(index + 1, "close")
    led = p.kind(after) in ("colon", "dash", "equals") or (index > p.index and p.kind(after) == "comma")
    if led and p.kind(after + 1) == "end" and p.context.reflexes:
        p.context.side = resolve_side(p, p.tokens[index])
        p.mark([(p.tokens[index], "side")])
        p.index = after + 1
        return True
    if not led:
        return False
    if not (p.kind(after + 1) in HEADS or p.kind(after + 1) in VALUES and p.kind(after + 2) in HEADS):
        return False
    p.context.side = resolve_side(p, p.tokens[index])
    p.mark([(p.tokens[index], "side")])
    p.index = after + 1
    return True


def lead_region(p: Parser) -> bool:
    """A region that leads what follows: "In the legs, reflexes are absent", "the lower limb had ...".

    lead_region = [ at ] [ side ] region ( "," | ":" | has ) ;
    """
    start = p.skip(p.index, "at")
    begins = p.index <= 2 or p.kind(p.index - 1) == "comma"
    found = _plain_region(p, start)
    if found is None:
        return False
    region, index = found
    index = p.skip(index, "reflex")
    led = p.kind(index) == "colon" or (start > p.index == 0 and p.kind(index) == "comma")
    had = p.kind(index) == "is" and p.word(index) in ("had", "has", "have", "show", "showed", "shows")
    if (
        not (begins or p.kind(index) == "colon")
        or (not led and not had)
        or (led and p.index > 2 and p.kind(index) != "colon")
    ):
        return False
    if not (_reflexes_later(p, index + 1) or p.reflexive[start]):
        return False
    p.mark(region.used)
    p.mark_range(start, index, "header")
    p.context.region = region
    p.context.side = region.side or p.context.side
    p.index = index + 1
    return True


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


def exception(p: Parser) -> bool:
    """What the value before does not hold for, with its own value or without.

    exception = except ( [ at ] phrase [ at ] targets | targets [ [ link ] phrase ] ) ;
    """
    if p.kind(p.index) != "except":
        return False
    mark = (p.tokens[p.index], "exception")
    start = p.skip(p.index + 1, "at", "anaphor", "is")
    earlier = list(p.drafts)
    found = phrase_at(p, start)
    if found is not None:
        phrase, index = found
        targets, end = targets_at(p, p.skip(index, "at"), after_value=True)
        if not targets and phrase.side is not None and earlier:
            targets, end = [_again(earlier[-1].target)], index
        if targets and draft(p, targets, phrase, [mark]):
            p.index = end
            return True
        return _foreign_exception(p, targets, end)
    targets, index = targets_at(p, start, after_value=False)
    if not targets:
        return False
    if all(target.foreign for target in targets):
        return _foreign_exception(p, targets, index)
    found = phrase_at(p, p.skip(index, "is", "colon", "comma", "equals", "anaphor"))
    if p.kind(p.skip(index, "is", "colon", "comma")) == "untested":
        p.mark([mark])
        return False
    if found is not None and draft(p, targets, found[0], [mark]):
        p.index = found[1]
        return True
    for target in targets:
        if target.sign:
            add_bare(p, target, None, [mark], implied="present")
        else:
            _excepted(p, target, mark)
    p.index = index
    return True


def _foreign_exception(p: Parser, targets: list[Target], end: int) -> bool:
    if not targets:
        return False
    p.index = end
    return True


def _again(target: Target) -> Target:
    used = [(token, role) for token, role in target.used if role != "side"]
    return Target(target.site, target.which, target.root, None, target.general, target.region, used=used)


def _excepted(p: Parser, target: Target, mark: tuple[object, str]) -> None:
    """Where reflexes are "present except" here, here they are absent; else only the exception is known."""
    if target.foreign:
        return
    last = p.drafts[-1] if p.drafts else None
    present = last is not None and last.value is not None and last.value.descriptor == "present"
    add_bare(
        p,
        target,
        None,
        [mark],  # type: ignore[list-item]
        implied="absent" if present else None,
        reason=None if present else "excepted",
    )


def otherwise(p: Parser) -> bool:
    """The rest: "left ankle absent, otherwise 2+".

    otherwise = otherwise_word [ "is" ] phrase [ [ at ] targets ] ;
    """
    if p.kind(p.index) != "otherwise":
        return False
    mark = (p.tokens[p.index], "header")
    index = p.skip(p.index + 1, "at", "is", "colon", "comma", "dash")
    targets, named = targets_at(p, index, after_value=False)
    if targets and not all(target.foreign for target in targets):
        if not all(target.general for target in targets):
            p.index += 1
            return True
        for target in targets:
            p.mark(target.used)
        index = p.skip(named, "is", "colon")
    found = phrase_at(p, index)
    if found is None or not p.context.reflexes:
        p.index += 1
        return True
    phrase, after = found
    places, end = targets_at(p, p.skip(after, "at"), after_value=True)
    if not places or places[0].foreign:
        places, end = [Target("unspecified", general=True, used=[])], after
    if not draft(p, places, phrase, [mark]):
        p.index += 1
        return True
    p.index = end
    return True


def side_against_side(p: Parser) -> bool:
    """One side set against the other: "brisker at the left knee than the right", "knee jerks R>L", "R = L".

    side_against_side = [ targets [ link ] ] ( more phrase [ at ] side | side compare side ) [ than side ] ;
    """
    return _by_mark(p) or _by_words(p)


def _by_mark(p: Parser) -> bool:
    targets, index = targets_at(p, p.index, after_value=False)
    index = p.skip(index, "is", "colon", "comma", "open", "equals")
    if p.kind(index) == "value" and targets:
        found = phrase_at(p, index)
        if found is not None and p.kind(p.skip(found[1], "comma", "open")) == "side":
            after = p.skip(found[1], "comma", "open")
            if p.kind(after + 1) in ("greater", "lesser"):
                return _compare(p, targets, found[0], after)
        return False
    if p.kind(index) != "side" or p.kind(index + 1) not in ("greater", "lesser", "equals", "more", "less"):
        return False
    if not targets:
        targets = [_again(target) for target in p.context.last] if p.drafts else []
        if not targets:
            return False
    return _compare(p, targets, Phrase(), index)


def _compare(p: Parser, targets: list[Target], phrase: Phrase, index: int) -> bool:
    first = p.tokens[index]
    other = p.skip(index + 2, "than")
    if p.kind(other) != "side" or all(target.foreign or "toes" in target.flags for target in targets):
        return False
    kind = p.kind(index + 1)
    used = phrase.used + [(token, "comparison") for token in p.tokens[index : other + 1]]
    more = kind in ("greater", "more")
    for target in targets:
        if target.foreign:
            continue
        target.side = "both" if kind == "equals" else first.meaning
        if phrase.value is not None and p.drafts and kind != "equals":
            target.side = first.meaning
        details = Details(
            comparison="equal"
            if kind == "equals"
            else "greater_than_other_side"
            if more
            else "less_than_other_side"
        )
        if phrase.value is not None:
            target.side = "unspecified" if kind != "equals" else "both"
            phrase.used = used
            draft(p, [target], phrase)
            target.side = first.meaning
        after = phrase_at(p, p.skip(other + 1, "comma", "close")) if kind == "equals" else None
        if after is not None:
            after[0].used += used
            draft(p, [target], after[0])
            p.index = after[1]
            return True
        if kind == "equals":
            add_bare(
                p, target, None, used, implied="symmetric" if phrase.value is None else None, details=details
            )
        else:
            add_bare(p, target, None, used, implied=None, details=details)
    p.index = p.skip(other + 1, "close")
    return True


def _by_words(p: Parser) -> bool:
    """( more | less ) phrase [ at ] targets [ than side ] | targets "greater on" side than side"""
    start = p.index
    if p.kind(start) not in ("more", "less"):
        return False
    found = phrase_at(p, start)
    if found is None:
        return False
    phrase, index = found
    phrase.details.comparison = (
        "greater_than_other_side" if p.kind(start) == "more" else "less_than_other_side"
    )
    targets, end = targets_at(p, p.skip(index, "at"), after_value=True)
    if not targets:
        side = p.skip(index, "at")
        if phrase.side is None and p.kind(side) == "side":
            phrase.side, index = resolve_side(p, p.tokens[side]), side + 1
            phrase.used.append((p.tokens[side], "side"))
        p.mark(phrase.used)
        if (
            p.drafts
            and p.context.last
            and {d.side for d in p.drafts[-2:]} != {"left", "right"}
            and phrase.side
        ):
            draft(p, [_again(target) for target in p.context.last], phrase)
        p.index = _than(p, index)
        return True
    if not draft(p, targets, phrase):
        return False
    p.index = _than(p, end)
    return True


def _than(p: Parser, index: int) -> int:
    place = p.skip(index, "comma")
    if p.kind(place) != "than":
        return index
    after = p.skip(place + 1, "at", "side", "region")
    found = target_at(p, p.skip(place + 1, "at"))
    if found is not None:
        after = found[1]
    p.mark_range(place, after, "comparison")
    return after
