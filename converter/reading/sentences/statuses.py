"""Says of the findings of one sentence whether they are current, past, supposed or another person's."""

import re

from converter.reading.grammar.parser import VALUES, Parser
from converter.reading.grammar.parts import Draft
from converter.reading.tokens import Token

_CLAUSE_ENDS = frozenset({"comma", "but", "and", "open", "close", "now"})
_COMPARES = frozenset({"as", "like", "than", "since"})
"""Words that set today's value against an earlier time: "2+ (as pre-op)"."""
_PATIENT = re.compile(r"\b(?:own|patient|pt|our)\b", re.IGNORECASE)
_YEAR = re.compile(r"\b(?:in|of|since) (?:early |late |mid |[A-Z][a-z]+,? )?(?:19|20)\d\d\b")
_WERE = re.compile(r"\b(?:was|were|had)\b", re.IGNORECASE)
_WOMEN = "mother|mum|mom|sister|daughter|wife|aunt|niece|grandmother"
_MEN = "father|dad|brother|son|husband|uncle|nephew|grandfather"
_RELATIVES = {
    **dict.fromkeys(("she", "her"), re.compile(rf"\bhis (?:\w+ )?(?:{_WOMEN})\b", re.IGNORECASE)),
    **dict.fromkeys(("he", "his"), re.compile(rf"\bher (?:\w+ )?(?:{_MEN})\b", re.IGNORECASE)),
}
"""Whom a pronoun at the beginning of a sentence means, where the patient is of the other sex."""
_PRONOUN = re.compile(r"(?:^|(?<=[.;] ))(?P<pronoun>she|her|he|his)\b", re.IGNORECASE)
_PRONOUN_REACH, _RELATIVE_REACH = 6, 160
_RELATIVE = re.compile(
    r"\b(?:his|her|their|the|a|one|another|whose)\s+(?:\w+\s+)?"
    r"(?:mother|father|mum|mom|dad|brother|sister|sibling|son|daughter|uncle|aunt|cousin|nephew|niece|twin|"
    r"grandmother|grandfather|parent)s?\b(?:,[^,.;]{1,80},|\s+\w+ly)?\s+(?:had|has|have|showed|shows)\b",
    re.IGNORECASE,
)
"""As in "his brother, who died young, had", "her grandmother apparently had"."""
_ALONE = re.compile(
    r"\s*(?:family\s*:\s*)?(?:(?:his|her|their)\s+)?(?:mother|father|mum|mom|dad|brother|sister|sibling|son|daughter|uncle|aunt|"
    r"cousin|grandmother|grandfather)s?\s*:?\s*(?:is|was|are|were)?\s*\Z",
    re.IGNORECASE,
)
"""As in "brother areflexic": nothing but a relative before what is found."""
_FOUND = re.compile(r"\b(?:found|noted|reported|documented|recorded|described|saw|felt)\b", re.IGNORECASE)
_FIRST = 3
_SHORT = 40
"""Characters before the first token of a sentence in which its small words stand."""
_MANNER = frozenset({"position", "technique", "manoeuvre", "reinforcement", "quality", "before"})


def apply_statuses(p: Parser, has_now: bool) -> None:
    """Set status and certainty of the sentence's drafts from words about time, condition and family.

    Args:
        p: the sentence, already read.
        has_now: the note speaks of today somewhere, so a dated exam ("on admission") is an earlier one.
    """
    for draft in p.drafts:
        if draft.status == "current" and any(role == "earlier" for _, role in draft.used):
            draft.status = "historical"
    _of_relative_before(p)
    _before_now(p)
    _of_relative(p)
    if has_now:
        _in_a_year(p)
    for index, token in enumerate(p.tokens):
        if token.used or not p.drafts:
            continue
        if token.kind == "past" and (has_now or "dated" not in token.flags):
            _past(p, index, token)
        elif token.kind == "family" and "behind" in token.flags:
            _of_family(p, index, token)
        elif token.kind in ("family", "if"):
            _from(p, token, {"family": "family", "if": "hypothetical"}[token.kind])
        elif token.kind == "uncertain":
            _doubt(p, index, token)
        elif token.kind in _MANNER:
            _manner(p, token)


def _before_now(p: Parser) -> None:
    """As in "the knee jerks were absent, both are now 1+": of one reflex, what is not now was before."""
    now = next((token for token in p.tokens if token.kind == "now"), None)
    if now is None:
        return
    was = any(p.word(i) in ("was", "were", "had been") for i in range(len(p.tokens)))
    if not was and not _value_follows(p, p.tokens.index(now) + 1):
        return
    after = [d for d in p.drafts if _value_start(p, d) > now.start and d.status == "current"]
    for draft in p.drafts:
        same = any(d.target.site == draft.target.site and _alike(d.side, draft.side) for d in after)
        if same and draft.status == "current" and _value_start(p, draft) < now.start:
            draft.status, now.used = "historical", "assertion"


def _of_relative_before(p: Parser) -> None:
    """As in "I examined his mother too; her ankle jerks are absent": it can only be the relative."""
    start = p.tokens[0].start
    found = None if not p.drafts else _PRONOUN.search(p.text, max(0, start - _PRONOUN_REACH), start + 1)
    if found is None:
        return
    relative = _RELATIVES[found["pronoun"].lower()]
    named = list(
        relative.finditer(p.text, max(0, start - _RELATIVE_REACH, p.text.rfind("\n\n", 0, start)), start)
    )
    if not named:
        return
    who = Token("family", named[-1].start(), named[-1].end())
    for draft in p.drafts:
        if draft.status == "current":
            draft.status, draft.used = "family", [(who, "assertion"), *draft.used]


def _in_a_year(p: Parser) -> None:
    """As in "reflexes were normal at a visit in 2016", in a note that speaks of today."""
    said = p.text[p.tokens[0].start : p.tokens[-1].end]
    year = _YEAR.search(said)
    if year is None or not _WERE.search(said) or any(token.kind == "now" for token in p.tokens):
        return
    start = p.tokens[0].start
    when = Token("past", start + year.start(), start + year.end())
    for draft in p.drafts:
        if draft.status == "current":
            draft.status, draft.used = "historical", [*draft.used, (when, "assertion")]


def _value_follows(p: Parser, index: int) -> bool:
    """As in "KJ 2+ now 3+": right behind the word for the present stands another value."""
    return p.kind(p.skip(index, "is", "colon")) in VALUES and p.kind(index - 2) in VALUES | {"side", "comma"}


def _of_relative(p: Parser) -> None:
    """What is said behind a relative that has it: "his brother, who died young, had absent reflexes"."""
    begins = p.tokens[0].start
    start = max(p.text.rfind(mark, max(0, begins - _SHORT), begins) + 1 for mark in ".;:\n")
    match = _RELATIVE.search(p.text, start, p.tokens[-1].end) if p.drafts else None
    if p.drafts and match is None:
        match = _ALONE.match(p.text, start, _start(p.drafts[0]))
    if match is None or any(token.kind == "family" for token in p.tokens):
        return
    _from(p, Token("family", match.start(), match.end()), "family")


def before_today(p: Parser, earlier: list[Draft]) -> None:
    """As in "KJ absent L. Today 1+": what the sentence before said of the same reflex was so before today.

    Args:
        p: the sentence, already read.
        earlier: the drafts of the sentence before.
    """
    named = any(token.kind in ("site", "region", "reflex") for token in p.tokens)
    today = any(token.kind == "now" for token in p.tokens[:_FIRST])
    if not today or named or len({draft.target.site for draft in earlier}) > 1:
        return
    for draft in earlier:
        again = any(d.target.site == draft.target.site and _alike(d.side, draft.side) for d in p.drafts)
        if again and draft.status == "current":
            draft.status = "historical"
            draft.used = [*draft.used, (next(t for t in p.tokens if t.kind == "now"), "assertion")]


def _alike(side: str, other: str) -> bool:
    return side == other or "both" in (side, other) or "unspecified" in (side, other)


def _past(p: Parser, index: int, token: Token) -> None:
    if p.word(index - 1) in _COMPARES or not _tells_time(p, index, token):
        return
    if p.kind(index - 1) == "open" and p.kind(index + 1) == "close":  # "absent R (old), L 1+"
        reached = [draft for draft in p.drafts if _end(draft) <= token.start][-1:] or list(p.drafts)
    elif "list" in token.flags:
        reached = _listed_after(p, token)
    elif "resolved" in token.flags:
        before = [d for d in p.drafts if _value_start(p, d) < token.start]
        reached = before or [d for d in p.drafts if not _now_between(p, token.start, _value_start(p, d))]
    elif "event" in token.flags and _found_then(p, token):
        reached = _after_in_sentence(p, token)
    elif "event" in token.flags and _dates_an_event(p, index):
        reached = _in_clause(p, index)
    elif index <= 2 or "other_examiner" in token.flags:
        own = _in_clause(p, index) if token.flags <= {"dated"} else []
        reached = _after_in_sentence(p, token) or own
    elif "dated" in token.flags:
        reached = _in_clause(p, index) or _after_in_sentence(p, token)
    else:
        reached = _after_in_sentence(p, token) or _in_clause(p, index)
    for draft in reached:
        if draft.status == "current":
            draft.status = "historical"
            draft.used = [*draft.used, (token, "assertion")]
    if reached:
        token.used = "assertion"


def _tells_time(p: Parser, index: int, token: Token) -> bool:
    """A word such as "prev" tells the time in brackets, where it begins a sentence, and before what is now.

    As in "(prev)", "Prev AJ absent" and "AJ prev absent, now 1+".
    """
    leads = index == 0 and p.kind(1) in ("site", "reflex", "side")
    against = p.kind(index + 1) in VALUES and any(other.kind == "now" for other in p.tokens)
    return "bracket" not in token.flags or p.kind(index - 1) == "open" or leads or against


def _found_then(p: Parser, token: Token) -> bool:
    """As in "a colleague found, three years ago, that": the time in commas is that of another finding."""
    before = p.text[p.tokens[0].start : token.start].rpartition(",")
    apart = p.text[token.end : token.end + 1] == ","
    return apart and _FOUND.search(before[0].rpartition(",")[2]) is not None


def _dates_an_event(p: Parser, index: int) -> bool:
    """As in "fell 2 weeks ago, KJ 2+": the time is that of something else in its clause."""
    start = index
    while start > 0 and p.kind(start - 1) not in _CLAUSE_ENDS:
        start -= 1
    words = [p.word(i) for i in range(start, index) if p.kind(i) in ("other", "other_exam", "reason")]
    return any(word.isalpha() for word in words)


def _after_in_sentence(p: Parser, token: Token) -> list[Draft]:
    """The values after a word for the past, until a word for the present."""
    return [
        d
        for d in p.drafts
        if _value_start(p, d) > token.start and not _now_between(p, token.start, _value_start(p, d))
    ]


def _listed_after(p: Parser, token: Token) -> list[Draft]:
    """As in "history of clonus and increased reflexes": the list after it, up to a verb or a grade."""
    verbs = [t.start for t in p.tokens if t.kind == "is" and t.start > token.start]
    end = min(verbs, default=p.tokens[-1].end)
    reached = []
    for draft in sorted(p.drafts, key=_start):
        if _start(draft) < token.start:
            continue
        if _start(draft) > end or (draft.value is not None and draft.value.graded):
            break
        reached.append(draft)
    return reached


def _in_clause(p: Parser, index: int) -> list[Draft]:
    start = end = index
    while start > 0 and p.kind(start - 1) not in _CLAUSE_ENDS - {"open"}:
        start -= 1
    while end + 1 < len(p.tokens) and p.kind(end + 1) not in _CLAUSE_ENDS:
        end += 1
    low, high = p.tokens[start].start, p.tokens[end].end
    return [d for d in p.drafts if low <= _value_start(p, d) < high]


def _now_between(p: Parser, low: int, high: int) -> bool:
    return any(_ends_past(token) and low < token.start < high for token in p.tokens)


def _ends_past(token: Token) -> bool:
    """A word for the present, or that what was before is over: "previously absent, have returned"."""
    return token.kind == "now" or (token.kind == "past" and "resolved" in token.flags)


def _from(p: Parser, token: Token, status: str) -> None:
    for draft in p.drafts:
        after = _value_start(p, draft) > token.start and draft.status == "current"
        if after and not (status == "family" and _of_patient(p, token, draft)):
            draft.status = status
            draft.used = [*draft.used, (token, "assertion")]
            token.used = "assertion"


def _of_patient(p: Parser, token: Token, draft: Draft) -> bool:
    """As in "her sister has no knee jerks, but the patient's own are present"."""
    between = p.text[token.end : max(token.end, _value_start(p, draft))]
    return _PATIENT.search(between) is not None


def _of_family(p: Parser, index: int, token: Token) -> None:
    """As in "absent ankle jerks were noted in his brother": what the clause before it says of reflexes."""
    start = index
    while start > 0 and p.kind(start - 1) not in ("comma", "but", "open", "other", "other_exam", "family"):
        start -= 1
    compared = p.word(index - 1) in ("as", "than", "like", "also")
    if compared or p.kind(start - 1) in ("other", "other_exam"):
        return
    for draft in p.drafts:
        if p.tokens[start].start < _end(draft) < token.end and draft.status == "current":
            draft.status = "family"
            draft.used = [*draft.used, (token, "assertion")]
            token.used = "assertion"


def _doubt(p: Parser, index: int, token: Token) -> None:
    """A word of doubt right before or inside a finding."""
    following = p.tokens[index + 1] if index + 1 < len(p.tokens) else None
    for draft in p.drafts:
        inside = _start(draft) <= token.start < _end(draft)
        before = following is not None and any(used is following for used, _ in draft.used)
        if inside or before:
            draft.details.uncertain = True
            draft.used = [*draft.used, (token, "assertion")]
            token.used = "assertion"


def _manner(p: Parser, token: Token) -> None:
    """How it was elicited, said apart from the value: of the finding before, else of those after."""
    before = [draft for draft in p.drafts if _end(draft) <= token.start]
    last = max((_end(draft) for draft in before), default=0)
    between = [t for t in p.tokens if last <= t.start < token.start]
    if token.kind == "reinforcement" and any(t.kind == "site" and not t.used for t in between):
        return  # it is said of a reflex whose value was not understood
    reached = _with_same_value(before) if before else p.drafts
    name = "comparison" if token.kind == "before" else token.kind
    for draft in reached:
        if getattr(draft.details, name) is None:
            if token.kind == "before":
                draft.details.comparison = token.meaning or None
            else:
                draft.details.note(token)
            draft.used = [*draft.used, (token, "detail")]
            token.used = "detail"


def _with_same_value(drafts: list[Draft]) -> list[Draft]:
    """The last draft and those of the same list of reflexes."""
    values = [token for token, role in drafts[-1].used if role == "value"]
    return [d for d in drafts if any(token is value for value in values for token, _ in d.used)] or drafts[
        -1:
    ]


def _value_start(p: Parser, draft: Draft) -> int:
    """Where the value of a draft stands; a name may stand in an earlier sentence."""
    own = [t.start for t, role in draft.used if role == "value"] or [t.start for t, _ in draft.used]
    return max(min(own), p.tokens[0].start)


def _start(draft: Draft) -> int:
    return min(token.start for token, _ in draft.used)


def _end(draft: Draft) -> int:
    return max(token.end for token, _ in draft.used)
