"""The value before the reflex: "2+ at the knees", "absent ankle jerks"."""

from converter.reading.grammar.clonus_places import beats_of_clonus
from converter.reading.grammar.denied import neither
from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.lookahead import owns_value
from converter.reading.grammar.other_sides import other_sides
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side, target_at
from converter.reading.grammar.targets import targets_at
from converter.reading.written import Count

_STRENGTH = 5


def value_named(p: Parser) -> bool:
    """A value, then the reflexes it holds for, then perhaps the other side's value.

    value_named = [ [ AT ] SIDE ] phrase [ AT | ONLY ] targets [ "," SIDE ] { joint side_value } ;
    """
    if p.has(p.index, "neither") and neither(p):
        return True
    lead, start = _lead_side(p)
    if p.has(start, "arrow") and p.kind(start - 1) == "other_exam":  # "vibration ↓ toes"
        return False
    found = phrase_at(p, start, sided=lead is not None)
    if found is None:
        return False
    phrase, index = found
    with_beats = ("with",) if phrase.details.beats or p.kind(index) != "with" else ()
    index = _at_included(p, index)
    named = p.skip(index, "at", "only", *with_beats)
    bracket = p.kind(named) == "open"
    targets, end = _after_value(p, named + bracket, phrase)
    if bracket:
        targets = targets if p.kind(end) == "close" else []
    if (
        not targets
        or not _near(phrase, index, named, targets)
        or _its_own_follows(p, phrase, targets, named, end)
    ):
        return False
    if lead is not None and phrase.side is None:
        phrase.side = lead
        phrase.used = [(t, "side") for t in p.tokens[p.index : start] if t.kind == "side"] + phrase.used
    targets, end = _placed(p, targets, _beats_between(p, phrase, targets, end))
    beats_of_clonus(phrase, targets)
    end = _number_after(p, phrase, targets, end)
    end = late_side(p, phrase, targets, end)
    if not _draft(p, targets, phrase) and not all(target.foreign for target in targets):
        return False
    manner = p.skip(end, "reinforcement", "manoeuvre", "position", "technique")
    after = other_sides(p, manner, targets)
    p.index = after if after > manner else end
    return True


def _at_included(p: Parser, index: int) -> int:
    """As in "exam normal, including reflexes": the index behind "including", if it stands there."""
    included = p.skip(index, "comma")
    return included + 1 if p.has(included, "including") and p.has(included + 1, "trigger") else index


def _after_value(p: Parser, index: int, phrase: Phrase) -> tuple[list[Target], int]:
    """What a value stands before; "4/5 power, KJ brisk" grades the power alone."""
    first = target_at(p, index)
    if (
        first is not None
        and first[0].foreign
        and not phrase.worded
        and first[0].used[0][0].kind == "other_exam"
    ):
        return [first[0]], first[1]
    return targets_at(p, index, after_value=True)


def _its_own_follows(p: Parser, phrase: Phrase, targets: list[Target], named: int, end: int) -> bool:
    """Whether the one reflex after a grade has its own: in "XJ 1+ KJ 2+" the 1+ is not the knee's.

    Nor is a grade out of five that of a noun behind a limb: "4/5 LLE, DTR 2+ RUE".
    """
    out_of_five = phrase.pair is not None and phrase.pair.second.low == _STRENGTH
    if out_of_five and targets[-1].general and any(p.kind(at) == "region" for at in range(named, end)):
        return True
    return (
        not phrase.worded
        and len(targets) == 1
        and targets[0].specific
        and p.kind(named - 1) != "at"
        and owns_value(p, end, targets[0])
    )


def _beats_between(p: Parser, phrase: Phrase, targets: list[Target], end: int) -> int:
    """As in "unsustained clonus, three beats, at the right ankle": the beats before the place."""
    parted = [p.kind(end + i) for i in range(4)] == ["comma", "count", "comma", "at"]
    written = p.tokens[end + 1].written if parted else None
    if targets[-1].site != "clonus_unspecified" or not isinstance(written, Count):
        return end
    phrase.details.beats = written.text
    phrase.used.append((p.tokens[end + 1], "value"))
    return end + 3


def _placed(p: Parser, targets: list[Target], end: int) -> tuple[list[Target], int]:
    """The places of a noun that only announced them: "2+ reflexes at the knees"."""
    if len(targets) != 1 or not (targets[0].general or targets[0].site == "clonus_unspecified"):
        return targets, end
    placed, after = places(p, end, targets[0])
    for target in placed:
        target.used = targets[0].used + target.used
    return (placed, after) if placed else (targets, end)


def _draft(p: Parser, targets: list[Target], phrase: Phrase) -> bool:
    """Draft the value for each target; a state ("hyperreflexia") keeps its own."""
    took = draft(p, [target for target in targets if not target.implied], phrase)
    for target in targets:
        if target.implied and not phrase.negated:
            add_bare(p, target, phrase.side, [], implied=target.implied)
            took = True
    return took


def _number_after(p: Parser, phrase: Phrase, targets: list[Target], end: int) -> int:
    """As in "increase in DTRs, symmetrical 3+": the number says it better than the word before."""
    again = phrase_at(p, end) if phrase.worded and len(targets) == 1 and p.kind(end) in VALUES else None
    if again is None or again[0].value is None or not again[0].value.graded or again[0].value.bare:
        return end
    phrase.value, phrase.side = again[0].value, phrase.side or again[0].side
    phrase.used += again[0].used
    return again[1]


def _lead_side(p: Parser) -> tuple[str | None, int]:
    index = p.skip(p.index, "at")
    if p.kind(index) != "side" or p.tokens[index].meaning not in ("left", "right", "both"):
        return None, p.index
    after = p.skip(index + 1, "comma", "colon")
    return resolve_side(p, p.tokens[index]), after


def _near(phrase: Phrase, index: int, named: int, targets: list[Target]) -> bool:
    """A lone digit holds only for what stands right after it or after "at"."""
    if phrase.value is None or not phrase.value.bare or named > index:
        return True
    gap = targets[0].used[0][0].start - phrase.used[-1][0].end
    return gap <= 2 and (targets[0].specific or targets[0].region or targets[0].general)


def late_side(p: Parser, phrase: Phrase, targets: list[Target], end: int) -> int:
    """As in "flexor plantars, bilaterally": take a side after a comma; the index after it, or `end`."""
    at = p.skip(end, "comma", "close")
    if at == end or p.kind(at) != "side" or p.tokens[at].meaning != "both" or p.kind(at + 1) in HEADS:
        return end
    if phrase.side is not None or any(target.side for target in targets) or _says_all_alike(p, at):
        return end
    phrase.side = "both"
    phrase.used.append((p.tokens[at], "side"))
    return at + 1


def _says_all_alike(p: Parser, at: int) -> bool:
    """As in "2/4 biceps, 1/4 ankles, bilat and symmetric": what closes a list is of all of it."""
    behind = p.skip(at + 1, "and")
    written = p.tokens[behind].written if p.kind(behind) == "value" else None
    symmetric = getattr(written, "descriptor", None) == "symmetric"
    return symmetric and p.kind(behind + 1) == "end" and bool(p.drafts)


def value_alone(p: Parser) -> bool:
    """A value for what was just spoken of, in a sentence of its own: "2+ and symmetric" under "DTRs".

    It may follow a word for now, as in "Previously KJ absent L. Today 1+ L".

    value_alone = phrase ;
    """
    last, now = p.context.last, p.index == 1 and p.kind(0) == "now"
    if len(last) != 1 or not (p.context.reflexes or p.context.headed):
        return False
    if not (now or (p.index == 0 and last[0].general)):
        return False
    found = said_alone(p, p.index)
    if found is None:
        return False
    phrase, end = found
    if not p.context.headed and (phrase.worded or (phrase.value is not None and phrase.value.bare)):
        return False
    one_side = len(p.context.listed) == 1 and p.context.graded_side in ("left", "right")
    if now and phrase.side is None and one_side:
        phrase.side = p.context.graded_side
    took = draft(p, last, phrase)
    p.index = end if took else p.index
    return took


def said_alone(p: Parser, index: int) -> tuple[Phrase, int] | None:
    """A value with nothing named after it."""
    found = phrase_at(p, index)
    return found if found is not None and p.kind(found[1]) in ("end", "comma", "and", "but") else None
