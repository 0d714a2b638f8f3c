"""Shapes in which the reflex is named before its value: "knee jerks are 2+ and ankle jerks 1+"."""

from dataclasses import replace

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target, Used
from converter.reading.grammar.phrases import phrase_at, take
from converter.reading.grammar.targets import resolve_side, target_at, targets_at
from converter.reading.tokens import Token
from converter.reading.written import Written

_LINKS = ("is", "colon", "equals", "dash", "anaphor", "now")
_CARRY = frozenset({"comma", "and", "but", "slash", "with", "open", "close"})


def named_value(p: Parser) -> bool:
    """Named reflexes, then their value, then perhaps places or the other side's value.

    named_value = targets [ link ] phrase [ [ at ] targets ] { [ "," | "and" | "but" ] side_value } ;
    link = "is" | ":" | "=" | "-" | "," ;
    """
    targets, index = targets_at(p, p.index, after_value=False)
    if not targets:
        return False
    index = _pass_range_of_scale(p, targets, index)
    linked = _link(p, index, targets)
    if p.kind(linked) == "side" and not all(target.foreign for target in targets):
        after = other_sides(p, linked, targets)
        if after > linked:
            p.index = after
            return True
    found = phrase_at(p, linked, sided=any(target.side for target in targets)) or _state_at(p, index, linked)
    found = found or _plantar_as_response(p, targets, index, linked)
    if found is None or not _may_take(p, index, linked, targets):
        return _bare_subject(p, targets, index)
    phrase, after = found
    after = _toes_again(p, targets, phrase, after)
    header = _header(targets)
    if header is not None:
        placed, end = places(p, after, header)
        if placed:
            extra = [(token, "header") for token, _ in header.used if placed[0].used[0][0] is not token]
            took = draft(p, placed, phrase, extra)
            p.index = other_sides(p, end, placed) if took else p.index
            return took
    if _belongs_right(p, targets, after, index == linked):
        return _bare_subject(p, targets, index)
    took = draft(p, targets, phrase)
    if took or any(target.foreign for target in targets):
        p.index = other_sides(p, after, targets)
        return True
    return False


def _plantar_as_response(
    p: Parser, targets: list[Target], index: int, linked: int
) -> tuple[Phrase, int] | None:
    """ "Babinski reflexes are plantar": here the word is the response."""
    plantar = p.kind(linked) == "site" and p.word(linked) == "plantar" and linked > index
    if not plantar or targets[-1].site != "plantar":
        return None
    token = p.tokens[linked]
    return Phrase(value=Written(response="flexor"), used=[(token, "value")]), linked + 1


def _toes_again(p: Parser, targets: list[Target], phrase: Phrase, after: int) -> int:
    """ "toes are downgoing to plantar reflexes bilaterally": the response names its reflex again."""
    at = p.skip(after, "at")
    if targets[-1].site != "plantar" or at == after or p.kind(at) != "site":
        return after
    again = target_at(p, at)
    if again is None or again[0].site != "plantar":
        return after
    phrase.used += again[0].used
    phrase.side = phrase.side or again[0].side
    return again[1]


def _state_at(p: Parser, index: int, linked: int) -> tuple[Phrase, int] | None:
    """ "the legs are areflexic": a state said of a place."""
    if p.kind(linked) != "condition" or linked == index:
        return None
    token = p.tokens[linked]
    phrase = Phrase(value=Written(descriptor=token.meaning), used=[(token, "value")])
    return phrase, linked + 1


def _pass_range_of_scale(p: Parser, targets: list[Target], index: int) -> int:
    """ "Reflexes (0-4+):": a heading that tells the range of the scale is no value."""
    written = (
        p.tokens[index + 1].written if p.kind(index) == "open" and p.kind(index + 1) == "value" else None
    )
    if not (
        targets[-1].general and isinstance(written, Written) and written.low == 0 and (written.high or 0) >= 4
    ):
        return index
    p.mark_range(index, index + 2, "header")
    return p.skip(index + 2, "close", "other")


def _link(p: Parser, index: int, targets: list[Target]) -> int:
    """Pass over what stands between a name and its value."""
    linked = p.skip(index, *_LINKS)
    if p.kind(linked) == "open" and p.kind(linked + 1) in VALUES:
        return linked + 1
    if p.kind(linked) == "at" and (p.kind(linked + 1) in VALUES or p.kind(linked + 1) == "uncertain"):
        return linked + 1
    if p.kind(linked) == "past" and p.kind(linked + 1) in VALUES:
        return linked + 1
    if p.kind(linked) == "comma" and p.kind(linked + 1) == "past" and p.kind(linked + 2) in VALUES:
        return linked + 2
    if p.kind(linked) == "comma" and p.kind(linked + 1) == "clonus_word":
        return linked + 1
    if p.kind(linked) == "comma" and p.kind(linked + 1) in VALUES and not _value_is_next_ones(p, linked + 1):
        return linked + 1
    if p.kind(linked) == "other":
        skipped = linked
        while p.kind(skipped) in ("other", "at") and skipped - linked < 4:
            skipped += 1
        if p.kind(skipped) == "is" and any(not target.foreign for target in targets):
            return p.skip(skipped, *_LINKS)
    return linked


def _value_is_next_ones(p: Parser, index: int) -> bool:
    following = p.skip(index + 1, "at", "side")
    return p.kind(following) in HEADS


def _may_take(p: Parser, index: int, linked: int, targets: list[Target]) -> bool:
    """A lone digit is a grade only right after the name or a link."""
    token = p.tokens[linked] if linked < len(p.tokens) else None
    bare = token is not None and getattr(token.written, "bare", False)
    if bare and not (linked > index or targets[-1].specific or targets[-1].general):
        return False
    if bare and linked == index and targets[-1].used[-1][0].end < p.tokens[linked].start - 3:
        return False
    return True


def _header(targets: list[Target]) -> Target | None:
    """The noun that only announces the places after the value: "reflexes are 2+ at the knees"."""
    last = targets[-1]
    if (
        all(target.foreign for target in targets[:-1])
        and not last.foreign
        and (last.general or last.region or last.site == "clonus_unspecified")
    ):
        return last
    return None


def places(p: Parser, index: int, header: Target) -> tuple[list[Target], int]:
    start = p.skip(index, "at", "only")
    if p.kind(start) == "and" and p.kind(start + 1) == "region" and p.has(start + 1, "all"):
        start += 1
    if p.kind(start) == "open":
        start += 1
    targets, end = targets_at(p, start, after_value=True)
    if not targets or targets[0].foreign or targets[0].general:
        return [], index
    if header.region and targets[0].region and start == index:
        return _throughout(header, targets, end, index)
    if start == index and _first_owns_value(p, targets, end):
        return [], index
    if header.site == "clonus_unspecified":
        return _as_clonus(header, targets), end
    if any(target.sign or target.site == "plantar" for target in targets) and start == index:
        return [], index
    for target in targets:
        if (
            header.side in ("left", "right")
            and target.region
            and not any(r == "side" for _, r in target.used)
        ):
            target.side = header.side
        target.side = target.side or header.side
        target.implied = None
    return targets, end


def _throughout(header: Target, targets: list[Target], end: int, index: int) -> tuple[list[Target], int]:
    """ "legs 2+ throughout": the region named first, on both sides."""
    if len(targets) != 1 or "all" not in targets[0].flags:
        return [], index
    header.side = header.side or targets[0].side
    return [replace(header, used=header.used + targets[0].used)], end


def _as_clonus(header: Target, targets: list[Target]) -> list[Target]:
    where = {"achilles": "ankle_clonus", "patellar": "knee_clonus"}
    for target in targets:
        target.site = where.get(target.site, "clonus_unspecified")
        target.flags |= {"sign"}
        target.region = False
    return targets


def _first_owns_value(p: Parser, targets: list[Target], end: int) -> bool:
    linked = p.skip(end, "is", "colon", "equals")
    return p.kind(linked) in VALUES and not _value_is_next_ones(p, linked)


def _belongs_right(p: Parser, targets: list[Target], after: int, unlinked: bool) -> bool:
    """Whether the value is about what follows: "reflexes 2+ biceps, 1+ triceps" after a mere heading."""
    if targets[-1].region and p.kind(after) == "at" and p.kind(after + 1) == "other_exam":
        return True
    if unlinked and p.kind(after) == "other_exam" and p.kind(p.skip(after + 1, "is", "colon")) not in VALUES:
        return True
    if not unlinked or targets[-1].specific:
        return False
    following = p.skip(after, "at")
    if p.kind(following) not in HEADS:
        return False
    found = target_at(p, following)
    return found is not None and found[0].specific and not _first_owns_value(p, [found[0]], found[1])


def other_sides(p: Parser, index: int, targets: list[Target]) -> int:
    """The other side's value for the same reflexes.

    side_value = [ at ] side [ "is" ] phrase | phrase [ at ] side ;
    """
    while True:
        start = p.skip(index, *_CARRY)
        if p.kind(start) in ("more", "less") and p.kind(start + 1) == "than":
            start += 2
        elif p.kind(start) in ("more", "less"):
            return index
        found = _side_first(p, start) or _value_first(p, start) or _at_another_time(p, index)
        if found is None:
            return index
        phrase, side, after = found
        again = [_on(target, side or target.side) for target in targets if not target.foreign]
        if not again or not draft(p, again, phrase):
            return index
        index = after


def _at_another_time(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """ "previously absent, are now 1+": the same reflexes at another time."""
    start = p.skip(index, "comma", "and", "but", "is", "anaphor", "past")
    timed = p.skip(start, "now", "past", "is", "at")
    if p.kind(index) == "open" and p.word(index + 1) in ("was", "were"):
        return _was(p, index + 1)
    if not any(p.kind(i) in ("now", "past") for i in range(index, timed)):
        return None
    found = phrase_at(p, timed)
    if found is None or _about_named(p, found[1]):
        return None
    phrase, after = found
    return phrase, phrase.side, after


def _was(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """ "(was 2+)": the earlier value in brackets."""
    found = phrase_at(p, index + 1)
    if found is None:
        return None
    phrase, after = found
    phrase.used.append((p.tokens[index], "earlier"))
    return phrase, phrase.side, after


def _on(target: Target, side: str | None) -> Target:
    used = [(token, role) for token, role in target.used if role != "side"]
    return Target(
        target.site,
        target.which,
        target.root,
        side,
        target.general,
        target.region,
        target.foreign,
        target.implied,
        target.flags,
        used,
    )


def _side_first(p: Parser, start: int) -> tuple[Phrase, str | None, int] | None:
    index = p.skip(start, "at")
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right"):
        return None
    token = p.tokens[index]
    found = phrase_at(p, p.skip(index + 1, "is", "colon", "equals", "at"), sided=True)
    if found is None:
        return None
    phrase, after = found
    if _about_named(p, after) or phrase.side not in (None, token.meaning):
        return None
    phrase.used.insert(0, (token, "side"))
    return phrase, token.meaning, after


def _value_first(p: Parser, start: int) -> tuple[Phrase, str | None, int] | None:
    found = phrase_at(p, p.skip(start, "anaphor", "is"))
    if found is None:
        return None
    phrase, after = found
    if phrase.side in ("left", "right"):
        return None if _about_named(p, after) else (phrase, phrase.side, after)
    place = p.skip(after, "at", "only")
    if p.kind(place) != "side" or p.tokens[place].meaning not in ("left", "right"):
        return None
    if p.kind(place + 1) in HEADS:
        return None
    token = p.tokens[place]
    phrase.used.append((token, "side"))
    return phrase, resolve_side(p, token) or "unspecified", place + 1


def _about_named(p: Parser, after: int) -> bool:
    return p.kind(p.skip(after, "at", "side")) in HEADS


def _bare_subject(p: Parser, targets: list[Target], index: int) -> bool:
    """A foreign subject without a value of ours is passed over whole; others wait for another rule."""
    if all(target.foreign for target in targets):
        for target in targets:
            p.mark(target.used)
        p.index = index
        return True
    return False


def sign_named(p: Parser) -> bool:
    """A sign, or an abnormal state, whose mention alone is the finding: "left ankle clonus", "areflexia".

    sign_named = targets [ [ at ] targets ] ;
    """
    targets, index = targets_at(p, p.index, after_value=False)
    present = [target for target in targets if _is_finding_alone(target)]
    if p.kind(index) == "colon" and present and all(t.implied and not t.sign for t in present):
        p.mark([(token, "header") for token, _ in present[-1].used])
        p.context.reflexes = True
        p.index = index + 1
        return True
    if not present:
        if targets and any(target.general for target in targets):
            p.context.reflexes = True
        return False
    header = present[-1]
    phrase = Phrase()
    if header.implied and len(present) == 1:
        placed, end = places(p, index, header)
        if placed:
            implied = header.implied
            for target in placed:
                target.implied, target.used = implied, header.used + target.used
            present, index = placed, end
    trailing = p.skip(index, "comma")
    if p.kind(trailing) == "side" and p.kind(trailing + 1) not in HEADS | VALUES:
        phrase.side = resolve_side(p, p.tokens[trailing])
        phrase.used.append((p.tokens[trailing], "side"))
        index = trailing + 1
    for target in targets:
        p.mark(target.used)
    for target in present:
        _present(p, target, phrase)
    p.index = index
    return True


def _is_finding_alone(target: Target) -> bool:
    return not target.foreign and (target.sign or target.implied is not None)


def _present(p: Parser, target: Target, phrase: Phrase) -> None:
    add_bare(p, target, phrase.side, phrase.used, implied=target.implied or "present")


def untested(p: Parser) -> bool:
    """Reflexes that were not tested, with the reason.

    untested = targets [ "is" ] not_tested [ because reason ] ;
    """
    targets, index = targets_at(p, p.index, after_value=False)
    linked = p.skip(index, *_LINKS, "comma", "slash", "open")
    if not targets or p.kind(linked) != "untested":
        return False
    p.index = not_tested(p, targets, linked)
    return True


def not_tested(p: Parser, targets: list[Target], at: int) -> int:
    """Draft findings that say why there is no value; gives the index after the reason."""
    used: Used = [(p.tokens[at], "assertion")]
    side_at = p.skip(at + 1, "at")
    side: str | None = None
    if p.kind(side_at) == "side":
        side = resolve_side(p, p.tokens[side_at])
        used.append((p.tokens[side_at], "side"))
        at = side_at
    reason, after = _reason(p, at + 1, used, p.tokens[at])
    for target in targets:
        p.mark(target.used)
        if not target.foreign:
            add_bare(p, target, side, used, status="not_tested", reason=reason)
    return after


def _reason(p: Parser, index: int, used: Used, said: Token) -> tuple[str | None, int]:
    """[ because ] words: a known reason by its name, another one in the note's own words."""
    own = said.meaning or None
    start = p.skip(index, "open", "dash", "comma", "with", "at")
    cause = (p.kind(start) == "reason" and p.has(start, "cause")) or p.word(start) == "2/2"
    if cause:
        used.append((p.tokens[start], "detail"))
        start += 1
    end = start
    while p.kind(end) not in ("end", "close", "stop", "but", "and") and end - start < 8:
        token = p.tokens[end]
        if token.kind == "reason" and not p.has(end, "cause"):
            used.append((token, "detail"))
            return token.meaning, end + 1
        if token.kind in ("site", "reflex", "condition") or token.kind in VALUES:
            break
        end += 1
    if cause and end > start:
        used += [(token, "detail") for token in p.tokens[start:end]]
        return p.text[p.tokens[start].start : p.tokens[end - 1].end], end
    return own, index


def respectively(p: Parser) -> bool:
    """As many values as names, in the same order.

    respectively = targets [ link ] value { "," value } [ "respectively" ]
                 | value { "," value } [ at ] targets "respectively" ;
    """
    return _names_then_values(p) or _values_then_names(p)


def _names_then_values(p: Parser) -> bool:
    targets, index = targets_at(p, p.index, after_value=False)
    if not targets or any(target.foreign for target in targets):
        return False
    values, after = _values(p, p.skip(index, *_LINKS))
    if len(targets) == 1 and len(values) == 2:
        return _on_both_sides(p, targets[0], values, after)
    return _zip(p, targets, values, after)


def _on_both_sides(p: Parser, target: Target, values: list[Phrase], index: int) -> bool:
    """ "1+ and 3+ on the right and left respectively"."""
    at = p.skip(index, "at")
    if p.kind(at) != "side" or p.tokens[at].meaning != "both" or p.kind(at + 1) != "respectively":
        return False
    order = ("right", "left") if p.word(at).startswith("r") else ("left", "right")
    for side, phrase in zip(order, values, strict=True):
        phrase.used.append((p.tokens[at], "side"))
        draft(p, [_on(target, side)], phrase)
    p.mark([(p.tokens[at + 1], "detail")])
    p.index = at + 2
    return True


def _values_then_names(p: Parser) -> bool:
    values, index = _values(p, p.index)
    if len(values) < 2:
        return False
    targets, after = targets_at(p, p.skip(index, "at"), after_value=False)
    if p.kind(p.skip(after, "comma", "open")) != "respectively":
        return False
    return _zip(p, targets, values, after)


def _values(p: Parser, index: int) -> tuple[list[Phrase], int]:
    phrases: list[Phrase] = []
    while p.kind(index) in VALUES and not getattr(p.tokens[index].written, "weak", False):
        phrase = Phrase()
        token = p.tokens[index]
        take(p, index, phrase)
        phrases.append(phrase)
        index += 1
        following = p.skip(index, "comma", "and")
        if p.kind(following) not in VALUES:
            return phrases, index
        index = following
    return phrases, index


def _zip(p: Parser, targets: list[Target], values: list[Phrase], after: int) -> bool:
    if len(values) != len(targets) or len(values) < 2:
        return False
    for target, phrase in zip(targets, values, strict=True):
        draft(p, [target], phrase)
    end = p.skip(after, "comma", "open")
    if p.kind(end) == "respectively":
        p.mark([(p.tokens[end], "detail")])
        after = p.skip(end + 1, "close")
    p.index = after
    return True
