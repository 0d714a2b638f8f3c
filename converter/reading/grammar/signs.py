"""Signs and abnormal states whose mention alone is the finding: "left ankle clonus", "areflexia"."""

import re

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.other_sides import other_sides
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.targets import targets_at, targets_here

_LINE = 200
_GRADED = re.compile(r"[\d+\u2191\u2193]|absent|normal|present|neg|pos|brisk")


def sign_named(p: Parser) -> bool:
    """A sign, or an abnormal state, whose mention alone is the finding: "left ankle clonus", "areflexia".

    sign_named = targets [ places ] [ "," SIDE ] ;
    """
    targets, index = targets_here(p)
    present = [target for target in targets if _is_finding_alone(target)]
    if p.kind(index) in ("colon", "dash") and present and _as_heading(p, present, index + 1):
        return True
    if _after_a_dash(p, index) or _said_unknown(p, targets, index) or _heads_a_column(p, index):
        return False
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


def _as_heading(p: Parser, present: list[Target], index: int) -> bool:
    """As in "Areflexia: ankles", "Frontal release signs: grasp absent": what heads its members."""
    colon = p.kind(index - 1) == "colon"
    states = colon and all(target.implied and not target.sign for target in present)
    if _heads_toes(p, present, index):
        return _toes_under(p, present[0], index)
    if not (states or (colon and _heads_signs(p, present, index))):
        return False
    p.mark([(token, "header") for token, _ in present[-1].used])
    p.context.reflexes = True
    p.index = _places_behind(p, present[-1], index) if states else index
    return True


def _heads_signs(p: Parser, targets: list[Target], index: int) -> bool:
    """As in "Frontal release signs: grasp absent, snout present": the heading of what is named behind it."""
    family = targets[-1].which in ("frontal_release", "unspecified") if len(targets) == 1 else False
    return family and any(
        p.kind(i) == "site" and p.tokens[i].meaning.startswith("primitive:")
        for i in range(index, len(p.tokens))
    )


def _heads_toes(p: Parser, targets: list[Target], index: int) -> bool:
    """As in "Babinski: toes down": the sign heads the movement of the toes."""
    headed = len(targets) == 1 and targets[0].site == "plantar" and targets[0].side is None
    return headed and p.has(p.skip(index, "side"), "toes")


def _toes_under(p: Parser, sign: Target, index: int) -> bool:
    """The movement of the toes under the name of the sign, as one finding."""
    toes, end = targets_at(p, index, after_value=False)
    found = phrase_at(p, p.skip(end, "is", "colon"))
    if found is None or not draft(p, toes, found[0], [(token, "header") for token, _ in sign.used]):
        return False
    p.index = other_sides(p, found[1], toes)
    return True


def _places_behind(p: Parser, state: Target, index: int) -> int:
    """As in "Areflexia: ankles, left knee": places without a value of their own have the state."""
    targets, end = targets_at(p, index, after_value=False)
    placed = all(target.specific or target.region for target in targets) and p.kind(end) == "end"
    if not targets or not placed or any(target.sign for target in targets):
        return index
    for target in targets:
        target.implied = target.implied or state.implied
        add_bare(p, target, None, state.used, implied=target.implied)
    return end


def _after_a_dash(p: Parser, index: int) -> bool:
    """A line such as "- clonus" may list what is there, or say that it is not."""
    return p.index == 1 and p.kind(0) == "dash" and p.kind(index) == "end"


def _heads_a_column(p: Parser, index: int) -> bool:
    """As in "Hour | Rate | Clonus": a name alone in its cell, in a line of names."""
    start, end = p.tokens[p.index].start, p.tokens[index - 1].end
    before = p.text[max(0, start - _LINE) : start].rpartition("\n")[2]
    behind = p.text[end : end + _LINE].partition("\n")[0]
    alone = before.rstrip().endswith("|") and behind.lstrip()[:1] in ("", "|", "\r")
    return alone and _GRADED.search(before + behind) is None


def _said_unknown(p: Parser, targets: list[Target], index: int) -> bool:
    """As in "the Moro reflex was incomplete on the left": what is said of the sign is not understood."""
    alone = len(targets) == 1 and p.kind(index) == "is" and p.kind(index + 1) == "other"
    side = p.skip(index + 2, "at")
    return alone and p.kind(side) in ("end", "comma", "side")


def _is_finding_alone(target: Target) -> bool:
    return not target.foreign and (target.sign or target.implied is not None)


def _present(p: Parser, target: Target, phrase: Phrase) -> None:
    add_bare(p, target, phrase.side, phrase.used, implied=target.implied or "present")
