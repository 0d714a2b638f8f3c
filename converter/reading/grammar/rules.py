"""The sentence shapes, in the order in which they are tried."""

from collections.abc import Callable
from functools import lru_cache

from converter.reading.grammar.comparisons import side_against_side
from converter.reading.grammar.denied import denied
from converter.reading.grammar.exceptions import exception, otherwise
from converter.reading.grammar.leads import lead_region, lead_side, legend, pair_order, planned
from converter.reading.grammar.lists_in_order import respectively, sides_in_order
from converter.reading.grammar.named import named_value
from converter.reading.grammar.parser import HEADS, LINKS, VALUES, Parser
from converter.reading.grammar.phrases import DETAILS
from converter.reading.grammar.said_again import on_a_side, they_are, they_were
from converter.reading.grammar.signs import sign_named
from converter.reading.grammar.untested import untested, untested_named, untested_on_a_side
from converter.reading.grammar.valued import value_alone, value_named

Rule = Callable[[Parser], bool]

RULES: tuple[Rule, ...] = (
    legend,
    pair_order,
    planned,
    lead_side,
    lead_region,
    exception,
    otherwise,
    side_against_side,
    denied,
    untested,
    sides_in_order,
    respectively,
    they_are,
    they_were,
    on_a_side,
    named_value,
    untested_named,
    untested_on_a_side,
    value_named,
    sign_named,
    value_alone,
)


_TARGETS = HEADS | {"side", "uncertain", "open", "anaphor", "other_exam", "look_alike"}
_PHRASES = VALUES | DETAILS | {"more", "less", "no"}
_BEGINNINGS: dict[Rule, frozenset[str]] = {
    legend: frozenset({"legend", "value"}),
    pair_order: frozenset({"side_ref"}),
    planned: frozenset({"future"}),
    lead_side: frozenset({"region", "at", "open", "bullet", "pipe", "side"}),
    lead_region: frozenset({"at", "side", "region"}),
    exception: frozenset({"except"}),
    otherwise: frozenset({"otherwise"}),
    side_against_side: _TARGETS | {"is", "colon", "comma", "equals", "more", "less"},
    denied: frozenset({"no"}),
    untested: _TARGETS,
    sides_in_order: _TARGETS | {*LINKS, "comma", "and", "but", "slash"},
    respectively: _TARGETS | VALUES | {*LINKS, "comma", "slash"},
    they_are: frozenset({"now", "comma", "anaphor", "side", "region"}),
    they_were: frozenset({"is", "past"}),
    on_a_side: VALUES
    | {"side", "region", "anaphor", "bullet", "dash", "other_mark", "at", "is", "colon", "only"},
    named_value: _TARGETS,
    untested_named: frozenset({"untested"}),
    untested_on_a_side: frozenset({"side", "untested"}),
    value_named: _PHRASES | {"at", "side"},
    sign_named: _TARGETS,
    value_alone: _PHRASES,
}
"""The kinds of tokens that a rule may begin with; at others it is not tried. One without a row always is."""


@lru_cache(maxsize=1024)
def _tried_at(kind: str, without: frozenset[str]) -> tuple[Rule, ...]:
    """The rules that may begin with a token of a kind, in the order in which they are tried."""
    return tuple(
        rule
        for rule in RULES
        if rule.__name__ not in without and (rule not in _BEGINNINGS or kind in _BEGINNINGS[rule])
    )


def read_sentence(p: Parser, without: frozenset[str] = frozenset()) -> None:
    """Read one sentence: at each token the first rule that fits takes its part.

    sentence = { legend | pair_order | planned | lead_side | lead_region | exception | otherwise
               | side_against_side | denied | untested | sides_in_order | respectively | they_are
               | they_were | on_a_side | named_value | untested_named | untested_on_a_side | value_named
               | sign_named | value_alone | joiner | WORD } ;
    joiner = "," | AND | BUT | WITH | NOW | PAST | FAMILY | IF | UNCERTAIN | "(" | ")" ;

    Args:
        p: the sentence; its drafts and used tokens are filled in.
        without: names of rules to leave out, for tests.
    """
    while p.index < len(p.tokens):
        before = p.index
        if not any(rule(p) for rule in _tried_at(p.tokens[before].kind, without)) or p.index == before:
            p.index = before + 1
