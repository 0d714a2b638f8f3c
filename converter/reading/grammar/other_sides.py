"""Reads the same reflexes again on the other side or at another time: "2+ on the right, 1+ on the left"."""

import re
from dataclasses import replace

from converter.reading.grammar.drafting import draft
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Details, Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.signs_beside import sign_beside
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.value_joins import past_in_bracket
from converter.reading.tokens import Token
from converter.reading.written import Written

_NUMBERS = {
    "one": "1",
    "two": "2",
    "three": "3",
    "four": "4",
    "five": "5",
    "six": "6",
    "seven": "7",
    "eight": "8",
}
_LONGEST_BRACKET = 4
_YEAR = re.compile(r"(?:19|20)\d\d")
_CARRY = frozenset({"comma", "and", "but", "slash", "with", "open", "close"})


def other_sides(p: Parser, index: int, targets: list[Target]) -> int:
    """The other side's value for the same reflexes.

    side_value = [ AT ] SIDE [ IS | ":" ] phrase | phrase [ AT ] SIDE ;
    """
    bracket = 0
    while True:
        index = sign_beside(p, index)
        start = _against(p, p.skip(p.skip(_past_bracket(p, index), *_CARRY), "anaphor"))
        if p.kind(start) in ("more", "less") and p.kind(start + 1) == "than":
            start += 2
        elif p.kind(start) in ("more", "less"):
            return index
        found = (
            _changed(p, index, targets)
            or _was_in_brackets(p, index)
            or _reinforced(p, index)
            or _not_there(p, start)
            or _dated(p, index)
            or _beats_again(p, start, targets)
            or _side_first(p, start)
        )
        found = (
            found or _value_first(p, start) or _in_other_limb(p, start, targets) or _at_another_time(p, index)
        )
        if found is None:
            return index
        phrase, side, after = found
        bracket = _end_of_earlier(p, index) or bracket
        _note_earlier(p, phrase, bracket)
        side = side or _side_just_said(p, phrase)
        targets = _of_graded(p, targets, phrase)
        if not any(target.sign for target in targets):
            _count_alike(p, phrase)
        again = [on_side(target, side or target.side) for target in targets if not target.foreign]
        again = [_whole_side(side)] if _of_whole_side(p, phrase, again) else again
        if not again or not draft(p, again, phrase):
            return index
        index = after


def _end_of_earlier(p: Parser, index: int) -> int:
    """As in "2+ R 1+ L (last week 2+ R 0 L)": where the brackets close that tell of an earlier time."""
    if p.kind(index) != "open" or p.kind(index + 1) != "past":
        return 0
    return next((at for at in range(index, len(p.tokens)) if p.kind(at) == "close"), 0)


def _count_alike(p: Parser, phrase: Phrase) -> None:
    """As in "finger jerks ++ R, + L": beside a number of plus signs one plus is a number too."""
    before = p.drafts[-1].value if p.drafts else None
    value = phrase.value
    counted = before is not None and before.counted and before.polarity is None
    if counted and value is not None and value.counted and value.polarity == "positive":
        phrase.value = replace(value, polarity=None)


def _note_earlier(p: Parser, phrase: Phrase, bracket: int) -> None:
    """Note that a value inside such brackets was so before."""
    inside = bool(bracket) and min(token.start for token, _ in phrase.used) < p.tokens[bracket].start
    if inside and not any(role == "earlier" for _, role in phrase.used):
        phrase.used.append((p.tokens[bracket], "earlier"))


def _past_bracket(p: Parser, index: int) -> int:
    """As in "absent R (old), L 1+", "absent (post TKR), L 2+": when the first was so, or what explains it."""
    close = p.skip(index + 1, "past", "other")
    short = index + 1 < close <= index + _LONGEST_BRACKET and p.kind(close) == "close"
    return close + 1 if p.kind(index) == "open" and short else index


def _of_graded(p: Parser, targets: list[Target], phrase: Phrase) -> list[Target]:
    """As in "brisk with clonus at the ankle, on the right it was normal": a grade is of the reflex before."""
    strength = phrase.value is not None and (phrase.value.graded or phrase.value.descriptor == "normal")
    before = p.drafts[-2].target if len(p.drafts) > 1 else None
    attached = "clonus" in targets[-1].site and before is not None and "clonus" not in before.site
    return [before] if attached and strength and before is not None else targets


def _against(p: Parser, start: int) -> int:
    """As in "1+ compared to 2+ on the left", "R 1+ < L 2+": the value that the first is set against."""
    sided = p.kind(start + 1) == "side" and p.kind(start + 2) in VALUES
    compared = p.kind(start) == "than" and (p.kind(start + 1) in VALUES or sided)
    marked = (
        p.kind(start) in ("greater", "lesser") and p.kind(start + 1) == "side" and p.kind(start + 2) in VALUES
    )
    return start + 1 if compared or marked else start


def _not_there(p: Parser, start: int) -> tuple[Phrase, str | None, int] | None:
    """As in "present on the right, not on the left": what was there on one side is not on the other."""
    side = p.skip(start + 1, "at")
    value = p.drafts[-1].value if p.drafts else None
    there = value is None or value.polarity == "positive" or value.descriptor == "present"
    ends = p.kind(side + 1) in ("end", "comma", "close", "but", "and")
    if not (there and ends and p.kind(start) == "no" and p.has(start, "after") and p.kind(side) == "side"):
        return None
    used = [(p.tokens[start], "value"), (p.tokens[side], "side")]
    return Phrase(value=Written(descriptor="absent"), used=used), resolve_side(p, p.tokens[side]), side + 1


def _side_first(p: Parser, start: int) -> tuple[Phrase, str | None, int] | None:
    dashed = p.kind(start) == "dash" and p.kind(start + 1) == "side" and p.kind(start + 2) == "colon"
    index = p.skip(start + dashed, "at")
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right"):
        return None
    token = p.tokens[index]
    found = phrase_at(p, p.skip(index + 1, "is", "colon", "equals", "dash", "at"), sided=True)
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
    if p.kind(place + 1) in HEADS and not _only_a_limb(p, place + 1):
        return None
    token = p.tokens[place]
    phrase.used.append((token, "side"))
    return phrase, resolve_side(p, token) or "unspecified", place + 1


def _in_other_limb(p: Parser, start: int, targets: list[Target]) -> tuple[Phrase, str | None, int] | None:
    """As in "KJ brisk R leg, normal L leg": a limb that only carries the side, as one has done before."""
    before = any(token.kind == "region" for draft in p.drafts[-1:] for token, _ in draft.used)
    found = phrase_at(p, start) if before else None
    if found is None or found[0].side is not None:
        return None
    place = p.skip(found[1], "at", "side")
    region = (
        p.vocabulary.reflexes.get(p.tokens[place].meaning.partition(":")[0]) if p.has(place, "limb") else None
    )
    if region is None or p.kind(place + 1) not in ("end", "comma"):
        return None
    if any(p.vocabulary.reflexes[t.site].limb != region.limb or not t.specific for t in targets):
        return None
    sides = [resolve_side(p, token) for token in p.tokens[found[1] : place] if token.kind == "side"]
    side = sides[-1] if sides else p.tokens[place].meaning.partition(":")[2]
    if side not in ("left", "right"):
        return None
    found[0].used += [(token, "side") for token in p.tokens[found[1] : place] if token.kind == "side"]
    found[0].used.append((p.tokens[place], "region"))
    return found[0], side, place + 1


def _only_a_limb(p: Parser, at: int) -> bool:
    """As in "negative in the left hand": a part of the body that only carries the side."""
    return p.has(at, "part") and p.kind(at + 1) not in VALUES | {"is", "colon", "reflex"}


def _at_another_time(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """As in "previously absent, are now 1+": the same reflexes at another time."""
    if p.kind(index) == "at" and _YEAR.fullmatch(p.word(index + 1)):
        index += 2
    start = p.skip(index, "comma", "and", "but", "is", "anaphor", "past")
    timed = p.skip(start, "now", "past", "is", "at")
    if p.kind(index) == "open" and p.kind(index + 1) == "past":
        return _was(p, index + 1)
    if not any(p.kind(i) in ("now", "past") for i in range(index, timed)):
        return None
    found = phrase_at(p, timed)
    if found is None or _about_named(p, found[1]):
        return None
    phrase, after = found
    return phrase, phrase.side, after


def _beats_again(p: Parser, start: int, targets: list[Target]) -> tuple[Phrase, str | None, int] | None:
    """As in "four beats of clonus on the right and two on the left": a number alone counts beats again."""
    said = p.word(start)
    number = _NUMBERS.get(said, said)
    place = p.skip(start + 1, "at")
    clonus = any("clonus" in target.site for target in targets)
    if not (clonus and number.isdigit() and number != "0") or p.kind(place) != "side":
        return None
    if place == start + 1 and not any(draft.details.beats for draft in p.drafts[-1:]):
        return None
    phrase = Phrase(details=Details(beats=number))
    phrase.used = [(p.tokens[start], "value"), (p.tokens[place], "side")]
    return phrase, resolve_side(p, p.tokens[place]), place + 1


def _dated(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """As in "2+ (1+ last week)", "2+ now, 1+ before surgery": an earlier value with its time behind it."""
    bracket = p.kind(index) == "open"
    start = index + 1 if bracket else p.skip(index, "now", "comma", "but")
    was = not bracket and p.word(start) in ("was", "were")
    start += was
    found = _in_order(p, start) if start > index else None
    if found is None or found[0].value is None:
        return None
    phrase, after = found
    past = past_in_bracket(p, after) if bracket else p.skip(after, "at")
    if past is None or p.kind(past) != "past" or _about_named(p, past + 1):
        return None
    now = any(token.kind == "now" for token in p.tokens)
    if not (bracket or was or now or _sets_apart(p, phrase, p.tokens[past])):
        return None
    phrase.used.append((p.tokens[past], "earlier"))
    return phrase, phrase.side, p.skip(past + 1, "close")


def _sets_apart(p: Parser, phrase: Phrase, past: Token) -> bool:
    """As in "AJ 1+, absent last month": a second strength, of another time than the one before it."""
    strength = not phrase.weak and (phrase.value is None or phrase.value.polarity is None)
    return strength and past.flags <= {"dated"} and p.kind(p.tokens.index(past) + 1) in ("end", "comma")


def _in_order(p: Parser, start: int) -> tuple[Phrase, int] | None:
    """A value with its side before or behind it."""
    if p.kind(start) != "side":
        return phrase_at(p, start)
    found = phrase_at(p, start + 1, sided=True)
    if found is not None and found[0].side is None:
        found[0].side = resolve_side(p, p.tokens[start])
        found[0].used.insert(0, (p.tokens[start], "side"))
    return found


def _of_whole_side(p: Parser, phrase: Phrase, targets: list[Target]) -> bool:
    """As in "left all 2+", "L side 2+" behind reflexes or limbs of the right: of everything on that side."""
    place = next((i for i, (_, role) in enumerate(phrase.used) if role == "side"), None)
    if place is None or place + 1 >= len(phrase.used):
        return False
    between = p.text[phrase.used[place][0].end : phrase.used[place + 1][0].start].lower().split()
    return "all" in between or ("side" in between and all(target.region for target in targets))


def _whole_side(side: str | None) -> Target:
    return Target("unspecified", side=side, general=True)


def _side_just_said(p: Parser, phrase: Phrase) -> str | None:
    """As in "2+ L (1+ last week)": the earlier value is of the side whose value stands before it."""
    earlier = any(role == "earlier" for _, role in phrase.used)
    last = p.drafts[-1].side if earlier and p.drafts else None
    return last if last in ("left", "right") else None


def _changed(p: Parser, index: int, targets: list[Target]) -> tuple[Phrase, str | None, int] | None:
    """As in "KJ 2+ (last visit) → 3+ today": what stands before the arrow was so, what stands behind is."""
    at = p.skip(index, "open", "past", "close", "at")
    arrow = p.word(at) == "→" or (p.kind(at) == "dash" and p.kind(at + 1) == "greater")
    start = p.skip(at + 1, "greater", "now", "colon")
    found = phrase_at(p, start) if arrow and p.drafts and not p.has(start, "arrow") else None
    if found is None or found[0].value is None or _about_named(p, found[1]):
        return None
    before = p.drafts[-len(targets) :]
    for one in before:
        one.used = [*one.used, *((token, "earlier") for token in p.tokens[index : at + 1])]
    p.mark_range(index, at + 1, "assertion")
    said = before[-1].side
    return found[0], said if said in ("left", "right") else found[0].side, found[1]


def _reinforced(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """As in "AJ 0, 1+ with reinforcement": what the same reflex gave with it."""
    found = phrase_at(p, p.skip(index, "open", "comma", "but", "slash"))
    before = p.drafts[-1] if p.drafts else None
    if found is None or before is None or before.details.reinforcement or before.value is None:
        return None
    phrase, after = found
    if phrase.value is None or not phrase.details.reinforcement or _about_named(p, after):
        return None
    return phrase, phrase.side or before.side, p.skip(after, "close") if p.kind(index) == "open" else after


def _was_in_brackets(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    said = p.kind(index) == "open" and p.word(index + 1) in ("was", "were")
    return _was(p, index + 1) if said else None


def _was(p: Parser, index: int) -> tuple[Phrase, str | None, int] | None:
    """As in "(was 2+)": the earlier value in brackets."""
    close = next((at for at in range(index, len(p.tokens)) if p.kind(at) == "close"), len(p.tokens))
    found = phrase_at(Parser(p.text, p.tokens[:close], p.context, p.vocabulary), index + 1)
    if found is None:
        return None
    phrase, after = found
    phrase.used.append((p.tokens[index], "earlier"))
    past = past_in_bracket(p, after)
    if past is not None and p.kind(past + 1) == "close":  # "(was absent last week)"
        phrase.used.append((p.tokens[past], "earlier"))
        after = past + 1
    return phrase, phrase.side, after


def on_side(target: Target, side: str | None) -> Target:
    """The same target with another side, or without one."""
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


def _about_named(p: Parser, after: int) -> bool:
    """Whether a value is of the name that follows, which has no mark of its own: "L 0 clonus-" is two."""
    named = p.skip(after, "at", "side")
    return p.kind(named) in HEADS and not p.has(named + 1, "minus")
