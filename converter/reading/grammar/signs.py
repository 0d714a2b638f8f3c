"""Signs and abnormal states whose mention alone is the finding: "left ankle clonus", "areflexia"."""

from converter.reading.grammar.drafting import add_bare
from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.targets import targets_at


def sign_named(p: Parser) -> bool:
    """A sign, or an abnormal state, whose mention alone is the finding: "left ankle clonus", "areflexia".

    sign_named = targets [ places ] [ "," SIDE ] ;
    """
    targets, index = targets_at(p, p.index, after_value=False)
    present = [target for target in targets if _is_finding_alone(target)]
    stated = p.kind(index) == "colon" and all(t.implied and not t.sign for t in present)
    if present and (stated or _heads_toes(p, targets, index)):
        p.mark([(token, "header") for token, _ in present[-1].used])
        p.context.reflexes = True
        p.index = index + 1
        return True
    if _after_a_dash(p, index):
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


def _heads_toes(p: Parser, targets: list[Target], index: int) -> bool:
    """As in "Babinski: toes down": the sign heads the movement of the toes."""
    toes = p.skip(index + 1, "side")
    headed = p.kind(index) in ("colon", "dash") and p.has(toes, "toes")
    return headed and len(targets) == 1 and targets[0].site == "plantar" and targets[0].side is None


def _after_a_dash(p: Parser, index: int) -> bool:
    """A line such as "- clonus" may list what is there, or say that it is not."""
    return p.index == 1 and p.kind(0) == "dash" and p.kind(index) == "end"


def _is_finding_alone(target: Target) -> bool:
    return not target.foreign and (target.sign or target.implied is not None)


def _present(p: Parser, target: Target, phrase: Phrase) -> None:
    add_bare(p, target, phrase.side, phrase.used, implied=target.implied or "present")
