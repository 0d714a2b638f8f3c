"""Shapes that deny: "no ankle clonus, finger flexors or Hoffmann sign", "no decreased reflexes"."""

from dataclasses import dataclass, field

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.lookahead import owns_value
from converter.reading.grammar.other_sides import on_side, other_sides
from converter.reading.grammar.parser import HEADS, LINKS, VALUES, Parser
from converter.reading.grammar.parts import Details, Target, Used
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.places import places
from converter.reading.grammar.target_heads import resolve_side, target_at
from converter.reading.grammar.targets import clonus_joint, targets_at
from converter.reading.tokens import Token
from converter.reading.written import Count, Written

_WORDS_BETWEEN = 7
_STOPS = frozenset({"end", "but", "no", "except", "otherwise", "open", "is", "colon", "anaphor"})
_NAMES = HEADS | {"side", "other_exam", "look_alike"}


@dataclass(slots=True)
class _Denial:
    """What one "no" reaches, as it is being read.

    Attributes:
        targets: what is denied, each with the value and details it was named with.
        used: tokens of the denial itself.
        between: words in between that name nothing.
        end: index after the last thing denied.
        joined: how the next thing is joined: `comma`, `and`, `or`, or empty for the first.
        value, details: what has been said of the next thing so far.
    """

    targets: list[tuple[Target, Written | None, Details]] = field(default_factory=list)
    used: Used = field(default_factory=list)
    between: list[Token] = field(default_factory=list)
    end: int = 0
    joined: str = ""
    value: Written | None = None
    details: Details = field(default_factory=Details)


def denied(p: Parser) -> bool:
    """What is not there; the denial reaches over a list, and ends where something has a value of its own.

    denied = NO [ denied_value ] target { ( "," | AND ) [ denied_value ] target } [ VALUE ] [ [ "," ] SIDE ] ;
    denied_value = VALUE | RESPONSE | COUNT | CLONUS_WORD | WORD ;
    """
    if p.kind(p.index) != "no" or p.has(p.index, "after"):
        return False
    denial = _reach(p)
    if not any(not target.foreign for target, _, _ in denial.targets):
        return False
    side = _side_after(p, denial) or _side_before(p, denial)
    for target, value, details in denial.targets:
        p.mark(target.used)
        if not target.foreign:
            _add(p, target, value, details, side, denial.used)
    p.mark(denial.used)
    p.index = _on_the_other_side(p, denial, side)
    return True


def _on_the_other_side(p: Parser, denial: _Denial, side: str | None) -> int:
    """As in "no clonus R, 2 beats L": what was denied on one side has its value on the other."""
    about = [target for target, _, _ in denial.targets if not target.foreign]
    said = side or about[0].side
    if len(about) != 1 or said not in ("left", "right"):
        return denial.end
    return other_sides(p, denial.end, [on_side(about[0], None)])


def _reach(p: Parser) -> _Denial:
    denial = _Denial(used=[(p.tokens[p.index], "assertion")], end=p.index + 1)
    index: int | None = p.index + 1
    while index is not None and p.kind(index) not in _STOPS and len(denial.between) < _WORDS_BETWEEN:
        index = _step(p, index, denial)
    last = p.tokens[denial.end - 1].end
    denial.used += [(token, "denied") for token in denial.between if token.start < last]
    denial.end = _elicited(p, denial)
    return denial


def _step(p: Parser, index: int, denial: _Denial) -> int | None:
    """Read one piece of a denial; the index after it, or None where the denial ends."""
    kind = p.kind(index)
    if kind in ("comma", "and", "slash"):
        _join(p, index, denial)
        return index + 1
    if kind in VALUES or kind == "clonus_word":
        if denial.joined == "comma" and not _or_follows(p, index):
            return None
        denial.value, denial.details = _modifier(p.tokens[index], denial.value, denial.details)
        return index + 1
    found = target_at(p, index) if kind in _NAMES else None
    if found is None:
        denial.between.append(p.tokens[index])
        if kind == "other":
            denial.value = None
        return index + 1
    return _deny(p, found[0], found[1], denial)


def _join(p: Parser, index: int, denial: _Denial) -> None:
    if p.has(index, "or"):
        denial.joined = "or"
    elif denial.joined != "or" or p.kind(index) == "and":
        denial.joined = p.kind(index)
    denial.value, denial.details = None, Details()


def _deny(p: Parser, target: Target, after: int, denial: _Denial) -> int | None:
    if "toes" in target.flags and (denial.value is None or denial.value.response is None):
        target.foreign = True
    if denial.targets:
        clonus_joint(p, denial.targets[-1][0], target, after)
    if _is_its_own(p, target, after, denial.joined):
        return None
    placed: list[Target] = []
    if target.general or target.site == "clonus_unspecified":
        said = p.skip(after, "is")
        if _says_present(p, said) and p.kind(said + 1) == "at":  # "no reflexes elicited in the legs"
            denial.used.append((p.tokens[said], "assertion"))
            said += 1
        placed, end = places(p, said if p.kind(said) == "at" else after, target)
        after = end if placed else after
        for place in placed:
            place.used, place.implied = target.used + place.used, target.implied
    denial.targets += [(each, denial.value, denial.details) for each in placed or [target]]
    denial.end = after
    return after


def _modifier(token: Token, value: Written | None, details: Details) -> tuple[Written | None, Details]:
    if token.kind == "clonus_word":
        return value, Details(sustained=token.meaning == "sustained")
    if isinstance(token.written, Count):
        return value, Details(beats=token.written.text)
    if isinstance(token.written, Written) and not token.written.weak:
        return token.written, details
    return value, details


def _is_its_own(p: Parser, target: Target, after: int, joined: str) -> bool:
    """Whether a denial ends before a target that has its own value or stands among what is there."""
    if owns_value(p, after, target) and not _only_present(p, after):
        return True
    if joined in ("", "or"):
        return False
    if "singular" in target.flags:
        return True
    if joined == "and":
        return not (target.foreign or target.sign or target.general)
    if target.foreign:
        return False
    return not (_or_follows(p, after) or (target.sign and target.implied is None))


def _only_present(p: Parser, after: int) -> bool:
    """As in "no reflexes can be elicited": the word only completes the denial."""
    return _says_present(p, p.skip(after, "is", "colon", "side"))


def _says_present(p: Parser, index: int) -> bool:
    token = p.tokens[index] if index < len(p.tokens) else None
    written = token.written if token is not None else None
    return isinstance(written, Written) and written.weak and written.descriptor == "present"


def _or_follows(p: Parser, index: int) -> bool:
    for place in range(index, len(p.tokens)):
        if p.kind(place) in ("but", "no", "is", "colon"):
            return False
        if p.kind(place) == "and" and p.has(place, "or"):
            return True
    return False


def _elicited(p: Parser, denial: _Denial) -> int:
    place = p.skip(denial.end, "is", "at")
    token = p.tokens[place] if place < len(p.tokens) else None
    written = token.written if token is not None else None
    if (
        token is not None
        and isinstance(written, Written)
        and written.descriptor == "present"
        and denial.targets
    ):
        denial.used.append((token, "assertion"))
        return place + 1
    return denial.end


def _side_after(p: Parser, denial: _Denial) -> str | None:
    place = p.skip(denial.end, "comma", "at")
    if p.kind(place) != "side" or p.kind(place + 1) in HEADS | VALUES | {"colon"}:
        return None
    denial.used.append((p.tokens[place], "side"))
    denial.end = place + 1
    return resolve_side(p, p.tokens[place])


def _side_before(p: Parser, denial: _Denial) -> str | None:
    """As in "R 3 beats ankle clonus, L no ankle clonus": a side that begins its clause, before "no"."""
    at = p.index - 1
    begins = at == 0 or p.kind(at - 1) in ("comma", "and", "but")
    if not begins or p.kind(at) != "side" or p.tokens[at].used or any(t.side for t, _, _ in denial.targets):
        return None
    denial.used.insert(0, (p.tokens[at], "side"))
    return resolve_side(p, p.tokens[at])


def neither(p: Parser) -> bool:
    """As in "neither big toe goes up", "neither knee jerk was brisk": of both sides it is not so."""
    if not p.has(p.index, "neither"):
        return False
    targets, end = targets_at(p, p.index + 1, after_value=False)
    found = phrase_at(p, p.skip(end, *LINKS)) if len(targets) == 1 and targets[0].specific else None
    value = found[0].value if found is not None else None
    if found is None or value is None or value.graded:
        return False
    (phrase, end), said = found, p.tokens[p.index]
    phrase.used.insert(0, (said, "assertion"))
    p.index = end
    if value.response == "flexor":
        phrase.negated, phrase.side = True, "both"
        return draft(p, targets, phrase)
    _add(p, targets[0], value, phrase.details, "both", phrase.used)
    return True


def _add(
    p: Parser, target: Target, value: Written | None, details: Details, side: str | None, used: Used
) -> None:
    kind = p.vocabulary.reflexes[target.site].kind
    if value is not None and value.descriptor is None and value.response is None:
        value = None
    implied = value.descriptor if value is not None and value.descriptor else target.implied
    if value is not None and value.response == "extensor" and kind == "plantar":
        implied, target.flags = None, target.flags | {"sign"}
    if value is not None and value.descriptor == "absent" and not target.sign:
        add_bare(p, target, side, used, implied="present", details=details)
        return
    presence = implied in (None, "present")
    if presence and not target.sign and kind in ("stretch", "superficial") and target.site != "jaw":
        add_bare(p, target, side, used, implied="absent", details=details)
    elif presence and kind == "plantar" and not target.sign:
        add_bare(p, target, side, used, implied="no response", details=details)
    elif implied == "abnormal":
        add_bare(p, target, side, used, implied="normal", details=details)
    elif presence:
        add_bare(p, target, side, used, implied="absent", negated=True, details=details)
    else:
        add_bare(p, target, side, used, implied=implied, negated=True, details=details)
