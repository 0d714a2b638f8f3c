"""Whether a value behind a name is about what follows it: "reflexes 2+ biceps, 1+ triceps"."""

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.places import first_owns_value
from converter.reading.grammar.target_heads import target_at

_STRONGEST = 5


def is_of_what_follows(
    p: Parser, targets: list[Target], phrase: Phrase, after: int, *, unlinked: bool
) -> bool:
    """Whether a value is about the name behind it.

    Args:
        p: the sentence.
        targets: what is named before the value.
        phrase: the value.
        after: the index behind it.
        unlinked: whether nothing stands between name and value.
    """
    if _denies_sign(p, targets, phrase, after):
        return True
    return _belongs_right(p, targets, after, unlinked and not _of_strength(targets, phrase))


def _of_strength(targets: list[Target], phrase: Phrase) -> bool:
    """As in "strength 5/5 throughout, DTRs 2+": a grade out of five is of the strength before it."""
    first = phrase.pair.second.low if phrase.pair is not None else getattr(phrase.value, "denominator", None)
    return first == _STRONGEST and all(target.foreign for target in targets)


def _belongs_right(p: Parser, targets: list[Target], after: int, unlinked: bool) -> bool:
    """Whether the value is about what follows: "reflexes 2+ biceps, 1+ triceps" after a mere heading."""
    mark = p.tokens[after - 1]
    if "minus" in mark.flags or any(token.end == mark.start for token, _ in targets[-1].used):
        return False
    if targets[-1].region and p.kind(after) == "at" and p.kind(after + 1) == "other_exam":
        return True
    named_next = unlinked and p.kind(p.skip(after, "side")) in HEADS
    if named_next and all(target.foreign for target in targets):
        named = target_at(p, p.skip(after, "side"))
        return named is None or p.kind(p.skip(named[1], "is", "colon", "equals")) not in VALUES
    foreign = p.skip(after, "other_exam", "is", "colon", "side")
    other = p.kind(after) == "other_exam" and p.kind(after - 1) != "side"
    if unlinked and other and p.kind(foreign) not in VALUES:
        return True
    if not unlinked or targets[-1].specific:
        return False
    following = p.skip(after, "at")
    if p.kind(following) not in HEADS:
        return False
    found = target_at(p, following)
    return found is not None and found[0].specific and not first_owns_value(p, [found[0]], found[1])


def _denies_sign(p: Parser, targets: list[Target], phrase: Phrase, after: int) -> bool:
    """As in "Reflexes: negative Babinski", "Reflexes: 2 beats clonus": the value of the sign that follows."""
    sign = p.skip(after, "side", "at")
    if targets[-1].general and phrase.details.beats is not None and phrase.value is None:
        return True
    return targets[-1].general and phrase.worded and p.kind(sign) == "site" and p.has(sign, "sign")
