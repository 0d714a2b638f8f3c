"""Derives sentences from the grammar at random: a tree of shapes whose leaves are words, within a depth.

Takes the productions and a source of chance; gives Nodes. The groups, options and repeats of a production are
flattened, so that the parts of a Node are what the production put there, in order.
"""

import random
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import accumulate

from grammar_file import Choice, Literal, Maybe, Name, Repeat, Role, Sequence, Tree
from grammar_words import Said, said_for

_DEEP = 7
_TRIES = 8
_OFTEN = {
    "SITE": 12,
    "REGION": 3,
    "CONDITION": 2,
    "GRADE": 6,
    "VALUE": 5,
    "RESPONSE": 2,
    "POLARITY": 2,
    "PAIR": 2,
    "LOOK_ALIKE": 0.1,
    "OTHER_EXAM": 0.1,
    "ANAPHOR": 0.1,
}
"""How often a choice falls on these, so that most sentences are such as notes hold; all others once."""
_TIGHT_BEFORE = frozenset({",", ":", ")", "/"})
_TIGHT_AFTER = frozenset({"(", "/"})


@dataclass(frozen=True, slots=True)
class Node:
    """One use of a production."""

    name: str
    parts: tuple["Node | Said", ...]

    def first(self, name: str) -> "Node | None":
        """The first part that is a shape of that name."""
        return next((part for part in self.parts if isinstance(part, Node) and part.name == name), None)

    def all(self, name: str) -> list["Node"]:
        """All parts that are shapes of that name."""
        return [part for part in self.parts if isinstance(part, Node) and part.name == name]

    def words(self, *roles: str) -> list[Said]:
        """The words of these roles among the parts."""
        return [part for part in self.parts if isinstance(part, Said) and part.role in roles]


class Deriver:
    """Derives shapes of one grammar from one source of chance."""

    def __init__(
        self, grammar: Mapping[str, Tree], chance: random.Random, makes_sense: Callable[[Node], bool]
    ) -> None:
        self._grammar = grammar
        self._chance = chance
        self._makes_sense = makes_sense
        self._weights: dict[int, list[float]] = {}

    def derive(self, name: str, depth: int = 0) -> Node:
        """A derivation of a shape; each shape in it is tried again a few times until it makes sense."""
        for _ in range(_TRIES):
            parts: list[Node | Said] = []
            self._lay(self._grammar[name], depth, parts)
            node = Node(name, tuple(parts))
            if self._makes_sense(node):
                break
        return node

    def _lay(self, tree: Tree, depth: int, parts: list[Node | Said]) -> None:
        """Add what a tree derives to; a list is filled, since this runs millions of times."""
        if isinstance(tree, Name):
            parts.append(self.derive(tree.name, depth + 1))
        elif isinstance(tree, Role):
            parts.append(said_for(tree.role, self._chance))
        elif isinstance(tree, Sequence):
            for part in tree.parts:
                self._lay(part, depth, parts)
        elif isinstance(tree, Choice):
            chosen = self._chance.choices(tree.parts, cum_weights=self._weights_of(tree))[0]
            self._lay(chosen, depth, parts)
        elif isinstance(tree, Maybe):
            if depth < _DEEP and self._chance.random() < 0.45:
                self._lay(tree.part, depth, parts)
        elif isinstance(tree, Repeat):
            while depth < _DEEP and self._chance.random() < 0.35:
                self._lay(tree.part, depth, parts)
        elif isinstance(tree, Literal):
            parts.append(Said("mark", tree.text))

    def _weights_of(self, tree: Choice) -> list[float]:
        """The weights of the parts of a choice, each added to those before; reckoned once for each."""
        found = self._weights.get(id(tree))
        if found is None:
            found = self._weights[id(tree)] = list(accumulate(map(_weight, tree.parts)))
        return found


def _weight(tree: Tree) -> float:
    first = tree.parts[0] if isinstance(tree, Sequence) else tree
    return _OFTEN.get(first.role, 1) if isinstance(first, Role) else 1


def leaves(node: Node | Said) -> Iterator[Said]:
    """The words of a derivation in order."""
    if isinstance(node, Said):
        yield node
    else:
        for part in node.parts:
            yield from leaves(part)


def written(node: Node) -> str:
    """The sentence."""
    text = ""
    for leaf in leaves(node):
        tight = not text or text[-1] in _TIGHT_AFTER or leaf.text in _TIGHT_BEFORE
        text += leaf.text if tight else " " + leaf.text
    return text
