"""Finds sentences that grade reflexes though no word of theirs says so, as in "Knee 2+ R, 3+ L. Ankle 1+".

Takes the sentences of a note; gives the indices of those that belong to such a run. A run does nothing but
name joints, tendons and sides with their grades, and shows that reflexes are meant: two joints or more are
graded as only reflexes are, a tendon is, or the direction of the toes or clonus follows. Pulses, oedema,
strength and tone are graded so too; a run after wording about them is left alone.
"""

from collections.abc import Iterator
from itertools import pairwise

from converter.reading.grammar.tendons import grades_tendons
from converter.reading.sentences.dividing import Sentence
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written

REACH = 30
"""Characters between the name of a joint and the grade that tells what was graded."""
_BARE = frozenset(
    {
        "site",
        "side",
        "side_ref",
        "value",
        "pair",
        "is",
        "colon",
        "equals",
        "greater",
        "lesser",
        "dash",
        "comma",
        "and",
        "but",
        "slash",
        "open",
    }
    | {"close", "untested", "reason", "uncertain", "now", "bullet", "at"}
)
_NO_TENDON = frozenset({"root", "infant", "plantars", "toes", "sign"})
_GRADED_ALIKE = frozenset({"limb", "other", "motor"})
"""Other parts of the examination that are graded with a plus."""
_ARMS = frozenset({"biceps", "triceps", "brachioradialis"})
_LEGS = frozenset({"patellar", "achilles"})
_FEWEST_TENDONS, _STRENGTH = 3, 4
_LABEL = 3
_TENDON_WORDS = ("patellar", "achilles")
_ONLY_OF_REFLEXES = frozenset({"absent", "trace", "brisk", "hyperactive"})
_LEADS = frozenset({"no", "at", "side", "bullet", "dash", "but", "and"})


def graded_alone(text: str, sentences: list[Sentence]) -> frozenset[int]:
    """Indices of the sentences of a note that grade reflexes without a word for them."""
    runs = list(_runs(sentences))
    foreign = _after_other_exam(sentences) if runs else []
    found: set[int] = set()
    for start, end in runs:
        if _means_reflexes(sentences, start, end, foreign=foreign[start]):
            found.update(range(start, end))
    return frozenset(found | _of_newborns(sentences) | _in_words(text, sentences))


def _in_words(text: str, sentences: list[Sentence]) -> set[int]:
    """As in "Patellar: Right: Normal. Left: Absent.": tendons answered side by side as only reflexes are.

    One of the words must say so: what is normal may be the tendon itself.
    """
    found: set[int] = set()
    led: list[int] = []
    told: set[str | None] = set()
    for index, sentence in enumerate(sentences):
        kinds = [token.kind for token in sentence.tokens[:4]]
        word = text[sentence.tokens[0].start : sentence.tokens[0].end].lower()
        if kinds == ["site", "colon", "side", "colon"] and word.startswith(_TENDON_WORDS):
            led.append(index)
        elif not (led and kinds[:3] == ["side", "colon", "value"]):
            found |= set(led) if told & _ONLY_OF_REFLEXES else set()
            led, told = [], set()
            continue
        told |= {value.descriptor for token in sentence.tokens for value in _values(token)}
    return found | (set(led) if told & _ONLY_OF_REFLEXES else set())


def _of_newborns(sentences: list[Sentence]) -> set[int]:
    """As in "Suck: present" over "Rooting: present" beside Moro: lines of two reflexes of infants."""
    answered = [index for index, sentence in enumerate(sentences) if _says_of_newborn(sentence)]
    beside = {index for pair in pairwise(answered) if pair[1] == pair[0] + 1 for index in pair}
    named = {sentences[index].tokens[0].meaning for index in beside}
    spoken = len(named) > 1 and any("trigger" in token.flags for s in sentences for token in s.tokens)
    return beside if spoken else set()


def _says_of_newborn(sentence: Sentence) -> bool:
    first, behind = sentence.tokens[0], [token.kind for token in sentence.tokens[1:3]]
    primitive = first.kind == "site" and first.meaning.startswith("primitive:")
    return (
        sentence.new_line
        and primitive
        and behind in (["colon", "value"], ["colon", "side"], ["dash", "value"])
    )


def _runs(sentences: list[Sentence]) -> Iterator[tuple[int, int]]:
    """Where runs begin and end."""
    index = 0
    while index < len(sentences):
        start = index
        while index < len(sentences) and _joins_run(sentences, start, index):
            index += 1
        if index == start:
            index += 1
        else:
            yield start, index


def _joins_run(sentences: list[Sentence], start: int, index: int) -> bool:
    sentence = sentences[index]
    if index > start and (sentence.new_block or sentence.heading):
        return False
    tokens = sentence.tokens
    return (
        "site" in sentence.kinds
        and sentence.kinds <= _BARE
        and not any("infant" in token.flags for token in tokens)
        and not any(_says_more(tokens, place) for place in range(len(tokens)))
    )


def _says_more(tokens: list[Token], index: int) -> bool:
    """Whether a place that is no side, a second grade, or one that only strength has stands at an index."""
    token = tokens[index]
    if token.kind == "at":
        return index + 1 == len(tokens) or tokens[index + 1].kind != "side"
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    if after is not None and _grades(token) and _grades(after):  # columns of something
        return True
    return any(
        value.low is not None and (value.denominator == 5 or (value.plus == "none" and value.low >= 4))
        for value in _values(token)
    )


def _grades(token: Token) -> bool:
    return any(value.low is not None for value in _values(token))


def _values(token: Token) -> tuple[Written, ...]:
    written = token.written
    if isinstance(written, Pair):
        return (written.first, written.second)
    return (written,) if isinstance(written, Written) else ()


def _means_reflexes(sentences: list[Sentence], start: int, end: int, *, foreign: bool) -> bool:
    run = sentences[start:end]
    if any(grades_tendons(sentence.tokens) for sentence in run):
        return not run[0].heading
    if not foreign and _grades_sides(sentences, start, end):
        return True
    graded = {token.meaning for sentence in run for token in _graded_joints(sentence.tokens)}
    if not graded or foreign or _comment_behind(sentences, end):
        return False
    return len(graded) > 1 or any(_answers(sentences, index) for index in range(start + 1, end + 1))


def _grades_sides(sentences: list[Sentence], start: int, end: int) -> bool:
    """As in "biceps R=2 L=2", "patellar: R 1, L 2": digits for sides, of arms and legs or beside the toes.

    Strength is graded so too, but not of these together, and seldom without a 4 or 5 anywhere.
    """
    graded: set[str] = set()
    toes = False
    for sentence in sentences[start:end]:
        name: Token | None = None
        for index, token in enumerate(sentence.tokens):
            if token.kind == "site":
                name = token
            elif name is not None and index > 1 and _side_equals(sentence.tokens[max(0, index - 3) : index]):
                toes = toes or any(value.response is not None for value in _values(token))
                named = "joint" in name.flags and not name.flags & _NO_TENDON
                graded |= {name.meaning} if named and _grades(token) else set()
    several = len(graded) >= _FEWEST_TENDONS and bool(graded & _ARMS) and bool(graded & _LEGS)
    return (several or (toes and len(graded) > 1)) and not _full_strength(sentences, start, end)


def _side_equals(tokens: list[Token]) -> bool:
    """Whether a value is that of a side: behind "R", "R=", "R:" or "R biceps:"."""
    kinds = [token.kind for token in tokens]
    return kinds[-1] == "side" or (
        kinds[-1] in ("equals", "colon") and (kinds[-2] == "side" or kinds[:-1] == ["side", "site"])
    )


def _full_strength(sentences: list[Sentence], start: int, end: int) -> bool:
    """Whether a grade that strength has and reflexes seldom stands anywhere in the same part of the note."""
    while start and not sentences[start].new_block:
        start -= 1
    while end < len(sentences) and not sentences[end].new_block:
        end += 1
    tokens = (token for sentence in sentences[start:end] for token in sentence.tokens)
    return any((value.high or 0) >= _STRENGTH for token in tokens for value in _values(token))


def _graded_joints(tokens: list[Token]) -> list[Token]:
    """The joints and tendons with a grade that has a plus or is a trace."""
    graded: list[Token] = []
    waiting: list[Token] = []
    before = ""
    for token in tokens:
        if token.kind == "site":
            if before in ("value", "pair"):
                waiting = []
            if "joint" in token.flags and not token.flags & _NO_TENDON:
                waiting.append(token)
        elif any(_as_reflexes_are(value) for value in _values(token)):
            graded += [name for name in waiting if token.start - name.end <= REACH]
        before = token.kind if token.kind in ("site", "value", "pair") else before
    return graded


def _as_reflexes_are(value: Written) -> bool:
    if value.counted:
        return False
    return value.descriptor == "trace" or (value.plus != "none" and value.low is not None)


def _after_other_exam(sentences: list[Sentence]) -> list[bool]:
    """For each sentence, whether what stands before it in the same part is graded with a plus as well."""
    found: list[bool] = []
    for index, sentence in enumerate(sentences):
        if sentence.heading or sentence.new_block or not index:
            found.append(sentence.heading)
            continue
        before = sentences[index - 1]
        label = sentence.new_line and _is_label(before)
        others = {token.meaning for token in before.tokens if token.kind == "other_exam"}
        if before.heading or label or not others:
            found.append(before.heading or label or found[-1])
        else:
            said = any(token.kind in ("value", "pair") for token in before.tokens)
            found.append(not others.isdisjoint(_GRADED_ALIKE) and not (said and others == {"motor"}))
    return found


def _is_label(sentence: Sentence) -> bool:
    """Whether a line only says what the lines below are about."""
    return not sentence.closed and len(sentence.tokens) <= _LABEL and sentence.tokens[0].kind == "other"


def _comment_behind(sentences: list[Sentence], end: int) -> bool:
    """As in "Knees 1+, ankles 2+. Pitting.": what was graded is said behind."""
    if end == len(sentences) or sentences[end].new_block:
        return False
    return all(token.kind == "other_exam" for token in sentences[end].tokens)


def _answers(sentences: list[Sentence], end: int) -> bool:
    """Whether the direction of the toes or clonus is said right behind."""
    if end == len(sentences) or sentences[end].new_block:
        return False
    tokens = sentences[end].tokens
    first = next((token for token in tokens if token.kind not in _LEADS), None)
    if first is None or first.kind != "site":
        return False
    if "toes" in first.flags:
        return any(value.response is not None for token in tokens for value in _values(token))
    return "trigger" in first.flags and ("sign" in first.flags or first.meaning == "plantar")
