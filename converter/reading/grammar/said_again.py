"""The reflexes of the sentence before, spoken of again: "They are 2+", "Left: 1+" under "Biceps reflex"."""

from dataclasses import replace

from converter.reading.grammar.drafting import draft
from converter.reading.grammar.lookahead import counts_names
from converter.reading.grammar.other_sides import on_side, other_sides
from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.phrases import DETAILS, phrase_at
from converter.reading.grammar.valued import said_alone

_OTHER = {"left": "right", "right": "left"}
_PLAIN = frozenset({"value", "pair", "side", "at", "is", "colon", "only", "anaphor", "comma"}) | DETAILS


def they_are(p: Parser) -> bool:
    """As in "Ankle jerks were absent. Now they are 2+.", "Both are 2+.": the reflexes of the sentence before.

    "all three" stands for three names as "both" does for two.

    they_are = [ NOW ] ( "they" IS | "both" [ IS ] ) phrase { joint side_value } ;
    """
    led = _led_side(p)
    begins = p.index == 0 or p.context.region is not None or led is not None
    start = p.skip(p.index, "now", "comma")
    linked = p.skip(start + 1, "is", "now", "colon")
    counted = counts_names(p, start, len(p.context.last))
    one = len(p.context.last) == 1 and len({target.site for target in p.context.listed}) <= 1
    both = p.word(start) == "both" and linked > start + 1 and one
    if not begins or not (p.kind(start) == "anaphor" or counted or both) or not p.context.last:
        return False
    counts = p.word(start).startswith(("all ", "both ", "each "))
    found_so = p.word(start).endswith(" them")  # "I found them present"
    if not counted and not found_so and not both and (counts or linked == start + 1):
        return False
    if p.context.region is not None and not all(target.specific for target in p.context.last):
        return False
    found = said_alone(p, linked)
    if found is None:
        return False
    same = p.word(start) == "it" and p.context.graded_side in _OTHER
    side = p.context.graded_side if same else None
    last = [replace(target, side=side, used=list(target.used)) for target in p.context.last]
    if led is not None or (both and not counted):
        last = [on_side(target, led or "both") for target in last]
    took = draft(p, last, found[0])
    p.index = other_sides(p, found[1], last) if took else p.index
    return took


def _led_side(p: Parser) -> str | None:
    """As in "on the right all three are normal": the one side that the sentence begins with."""
    before = p.tokens[: p.index]
    sides = [token.meaning for token in before if token.kind == "side"]
    plain = all(token.kind in ("at", "side", "comma") for token in before)
    return sides[0] if plain and len(sides) == 1 and sides[0] in _OTHER else None


def they_were(p: Parser) -> bool:
    """As in "AJ 1+; was absent last month", "KJ 1+. Previously absent.": the same reflexes at another time.

    they_were = PAST phrase | ( "was" | "were" ) phrase [ AT ] PAST ;
    """
    last = p.context.last
    if p.index != 0 or not p.context.reflexes or not last or not all(target.specific for target in last):
        return False
    if len({target.site for target in p.context.listed}) > 1:
        return False  # "KJ 2+, AJ 1+. Previously absent.": both, or the one named last
    start = p.skip(0, "past", "is", "comma", "colon")
    found = said_alone(p, start) or phrase_at(p, start)
    if found is None or found[0].weak:
        return False
    phrase, after = found
    behind = p.skip(after, "at")
    leads = [token for token in p.tokens[:start] if token.kind == "past" and token.flags <= {"dated"}]
    was = p.word(0) in ("was", "were") and p.kind(behind) == "past"
    end = behind + 1 if was else after
    if not (leads or was) or p.kind(end) not in ("end", "stop"):
        return False
    phrase.used.append((p.tokens[behind] if was else leads[0], "earlier"))
    side = p.context.graded_side if p.context.graded_side in _OTHER and phrase.side is None else None
    took = draft(p, [on_side(target, side) for target in last], phrase)
    p.index = end if took else p.index
    return took


def on_a_side(p: Parser) -> bool:
    """As in "Right: 2+" on a line under "Biceps reflex", or "R all 2+" behind a list for the left.

    on_a_side = SIDE [ ":" | "=" | "-" ] phrase { joint side_value } ;
    """
    if _other_side_below(p) or _other_side_of_all(p):
        return True
    last, first = p.context.last, p.skip(p.index, "bullet", "dash", "other_mark")
    if p.index != 0 or not last or p.kind(first) != "side" or not (p.context.reflexes or p.context.headed):
        return False
    value = p.skip(first + 1, "colon", "equals", "is", "dash")
    found = phrase_at(p, value) if p.kind(value) in VALUES else None
    if found is None or (value == first + 1 and p.kind(found[1]) != "end"):
        return False
    side = p.tokens[first]
    if "all" in p.text[side.end : p.tokens[value].start].split():
        last = [Target("unspecified", general=True, used=[])]
    elif len(last) != 1 or not last[0].specific:
        return False
    after = other_sides(p, first, [on_side(target, None) for target in last])
    p.index = after if after > first else p.index
    return after > first


def _other_side_of_all(p: Parser) -> bool:
    """As in "KJ and AJ 2+ on the right; both 1+ on the left": nothing but the other side's value."""
    last, said = p.context.last, p.context.graded_side
    if p.index != 0 or not (last and p.context.reflexes and all(target.specific for target in last)):
        return False
    counted = counts_names(p, 0, len(last))
    rest = p.tokens[counted:]
    sides = {token.meaning for token in rest if token.kind == "side"}
    plain = all(token.kind in _PLAIN for token in rest) and any(token.kind in VALUES for token in rest)
    unsaid = said == "unspecified" and len(last) == 1 and len(sides) == 1 and not counted
    if not plain or not (unsaid or (said in _OTHER and sides == {_OTHER[str(said)]})):
        return False
    after = other_sides(p, int(counted), [on_side(target, None) for target in last])
    p.index = after if after > counted else p.index
    return after > counted


def _other_side_below(p: Parser) -> bool:
    """As in "KJ 2+ right" with "3+ left" on the next line, where the note was wrapped."""
    last = p.context.last
    if p.index != 0 or len(last) != 1 or not last[0].specific or not p.context.reflexes:
        return False
    side = p.tokens[1] if p.kind(0) in VALUES and p.kind(1) == "side" and p.kind(2) == "end" else None
    if side is None or side.meaning not in ("left", "right"):
        return False
    after = other_sides(p, 0, [on_side(last[0], None)])
    p.index = after
    return after > 0
