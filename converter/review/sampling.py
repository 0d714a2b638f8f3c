"""A stratified random sample of what was read, for people to judge.

Takes items one by one and a size; gives the chosen ones with the strata they stand for. The choice is random
and can be repeated: items are put in order by a digest of the seed and their identity, and each stratum gives
its first ones, so that neither the order of loading nor the machine matters. Memory holds no more than the
sample of each stratum.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from heapq import heappush, heappushpop

from converter.model import Span

KINDS = ("finding", "look_alike", "unread")
"""What can be judged: a finding, wording that looks like one and was set aside, wording not understood."""

STRATA = ("family", "examiner", "certainty")
"""What a sample can be stratified by."""

Stratum = tuple[str, ...]


@dataclass(frozen=True, slots=True, order=True)
class Item:
    """One thing to judge.

    Attributes:
        kind: one of `KINDS`.
        system, id, note_hash: the note; a missing system is empty.
        spans: its characters.
        finding: identifier of the finding; empty where there is none.
        family: kind of reflex; of unread wording why it was not understood.
        examiner: who wrote the note; empty where it is not known.
        certainty: `stated` or `uncertain`; empty where there is no finding.
    """

    kind: str
    system: str
    id: str
    note_hash: str
    spans: tuple[tuple[int, int], ...]
    finding: str = ""
    family: str = ""
    examiner: str = ""
    certainty: str = ""

    def characters(self) -> tuple[Span, ...]:
        """The spans as spans of a note."""
        return tuple(Span(start, end, "value") for start, end in self.spans)


@dataclass(frozen=True, slots=True)
class Sample:
    """The chosen items.

    Attributes:
        items: in the order of strata and notes.
        population: number of items of each stratum.
        drawn: number of chosen items of each stratum.
    """

    items: tuple[Item, ...]
    population: Mapping[Stratum, int]
    drawn: Mapping[Stratum, int]


@dataclass(slots=True)
class Draw:
    """Items of one kind on their way into a sample.

    Attributes:
        most: the largest sample that will be asked for.
        by: names of `STRATA`.
        seed: another seed gives another sample.
    """

    most: int
    by: Sequence[str]
    seed: int
    _first: dict[Stratum, list[tuple[int, Item]]] = field(default_factory=lambda: defaultdict(list))
    _count: dict[Stratum, int] = field(default_factory=lambda: defaultdict(int))

    @property
    def population(self) -> int:
        """Number of items that were offered."""
        return sum(self._count.values())

    def offer(self, items: Iterable[Item]) -> None:
        """Take items into account."""
        for item in items:
            stratum = tuple(getattr(item, name) for name in self.by)
            self._count[stratum] += 1
            first, entry = self._first[stratum], (-_order(item, self.seed), item)
            if len(first) < self.most:
                heappush(first, entry)
            else:
                heappushpop(first, entry)

    def sample(self, size: int) -> Sample:
        """The sample of a size, spread over the strata in proportion, one at least where there is room."""
        drawn = allocated(self._count, min(size, self.most))
        items = [
            item
            for stratum in sorted(drawn)
            for item in sorted(one for _, one in sorted(self._first[stratum], reverse=True)[: drawn[stratum]])
        ]
        return Sample(tuple(items), dict(sorted(self._count.items())), dict(sorted(drawn.items())))


def allocated(population: Mapping[Stratum, int], size: int) -> dict[Stratum, int]:
    """How many items each stratum gives.

    One of each stratum where the size allows, the largest first; what is left in proportion to their size, by
    largest remainder. Never more than a stratum has.
    """
    size = min(size, sum(population.values()))
    order = sorted(population, key=lambda stratum: (-population[stratum], stratum))
    drawn = dict.fromkeys(population, 0) | dict.fromkeys(order[:size], 1)
    left = size - sum(drawn.values())
    spare = {stratum: population[stratum] - drawn[stratum] for stratum in order}
    whole = sum(spare.values())
    shares = {stratum: left * spare[stratum] / whole for stratum in order} if left else {}
    for stratum, share in shares.items():
        drawn[stratum] += int(share)
    rest = size - sum(drawn.values())
    by_remainder = sorted(shares, key=lambda stratum: (int(shares[stratum]) - shares[stratum], stratum))
    for stratum in by_remainder[:rest]:
        drawn[stratum] += 1
    return drawn


def passage_of(text: str, spans: Iterable[tuple[int, int]], around: int = 80) -> str:
    """The words around some characters, those characters in double brackets, on one line."""
    places = sorted(spans)
    if not text or not places:
        return ""
    start, end = max(0, places[0][0] - around), min(len(text), max(stop for _, stop in places) + around)
    marked, at = "\u2026" if start else "", start
    for first, stop in places:
        marked += f"{text[at : max(at, first)]}[[{text[max(at, first) : stop]}]]" if stop > at else ""
        at = max(at, stop)
    marked += text[at:end] + ("\u2026" if end < len(text) else "")
    return " ".join(marked.split())


def _order(item: Item, seed: int) -> int:
    name = json.dumps([seed, item.kind, item.system, item.id, item.note_hash, item.spans, item.finding])
    return int.from_bytes(hashlib.blake2b(name.encode(), digest_size=8).digest(), "big")
