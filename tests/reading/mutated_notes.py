"""Notes that are changed at random from a seed: words put in, taken out, swapped; case, line ends, digits."""

import random
import re
from collections.abc import Callable, Iterator, Sequence

_PART = re.compile(r"\s+|[^\W\d_]+|\d+|[^\w\s]|_")
STRAY = (
    *("2+", "0", "4/4", "++", "absent", "brisk", "R", "L", "left", "bilaterally", "no", "not", "except"),
    *("otherwise", "knees", "ankle", "biceps", "reflexes", "DTRs", "clonus", "Babinski", "Hoffmann"),
    *("plantar", "jerk", "toes", "areflexia", "throughout", "respectively", "previously", "if", "possible"),
    *("(", ")", ",", ";", ":", "|", "/", "\n", "\n\n", "\r\n", "\t", "  ", "*", "-", "→", "↑↓", "½", "²"),
    *("\u00a0", "\x00", "\ufeff", "é", "ß", "İ", "’", "🔨", "x3", "beats", "than", ">", "=", "not tested"),
    *("due to", "now", "scale 0-4", "with reinforcement", "only", "and", "to", "the patient", "walks"),
    *("3/5", "strength", "mother has"),
)


def mutations(text: str, seed: str, count: int) -> Iterator[str]:
    """So many changed forms of a text, the same ones for the same seed."""
    chance = random.Random(seed)
    for _ in range(count):
        parts = _PART.findall(text)
        for _ in range(chance.randint(1, 4)):
            parts = chance.choice(_CHANGES)(parts, chance)
        yield "".join(parts)


def _insert(parts: Sequence[str], chance: random.Random) -> list[str]:
    place = chance.randint(0, len(parts))
    return [*parts[:place], f" {chance.choice(STRAY)} ", *parts[place:]]


def _delete(parts: Sequence[str], chance: random.Random) -> list[str]:
    place = chance.randint(0, len(parts))
    return [*parts[:place], *parts[place + 1 :]]


def _replace(parts: Sequence[str], chance: random.Random) -> list[str]:
    place = chance.randint(0, len(parts))
    return [*parts[:place], chance.choice(STRAY), *parts[place + 1 :]]


def _swap(parts: Sequence[str], chance: random.Random) -> list[str]:
    swapped = list(parts)
    if len(swapped) > 1:
        one, other = chance.sample(range(len(swapped)), 2)
        swapped[one], swapped[other] = swapped[other], swapped[one]
    return swapped


def _case(parts: Sequence[str], chance: random.Random) -> list[str]:
    change = chance.choice((str.upper, str.lower, str.title))
    return [change(part) if part != "\r\n" else part for part in parts]


def _line_ends(parts: Sequence[str], chance: random.Random) -> list[str]:
    end = chance.choice(("\n", "\r\n", "\r", "\n\n"))
    chosen = chance.random() < 0.5
    return [re.sub(r"\r\n|\n|\r", end, part) if chosen else part.replace(" ", end) for part in parts]


def _digits(parts: Sequence[str], chance: random.Random) -> list[str]:
    return [str(chance.randint(0, 9)) if part.isdigit() else part for part in parts]


def _double(parts: Sequence[str], chance: random.Random) -> list[str]:
    start = chance.randint(0, len(parts))
    end = chance.randint(start, len(parts))
    return [*parts[:end], *parts[start:end], *parts[end:]]


_CHANGES: tuple[Callable[[Sequence[str], random.Random], list[str]], ...] = (
    *(_insert, _delete, _replace, _swap, _case, _line_ends, _digits, _double),
)
