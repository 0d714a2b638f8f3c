"""The sentence shapes, in the order in which they are tried."""

from collections.abc import Callable

from converter.reading.grammar.comparisons import side_against_side
from converter.reading.grammar.denied import denied
from converter.reading.grammar.exceptions import exception, otherwise
from converter.reading.grammar.leads import lead_region, lead_side, legend, pair_order, planned
from converter.reading.grammar.lists_in_order import respectively, sides_in_order
from converter.reading.grammar.named import named_value
from converter.reading.grammar.parser import Parser
from converter.reading.grammar.said_again import on_a_side, they_are
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
    on_a_side,
    named_value,
    untested_named,
    untested_on_a_side,
    value_named,
    sign_named,
    value_alone,
)


def read_sentence(p: Parser, without: frozenset[str] = frozenset()) -> None:
    """Read one sentence: at each token the first rule that fits takes its part.

    sentence = { legend | pair_order | planned | lead_side | lead_region | exception | otherwise
               | side_against_side | denied | untested | sides_in_order | respectively | they_are
               | on_a_side | named_value | untested_named | untested_on_a_side | value_named | sign_named
               | value_alone | joiner | WORD } ;
    joiner = "," | AND | BUT | WITH | NOW | PAST | FAMILY | IF | UNCERTAIN | "(" | ")" ;

    Args:
        p: the sentence; its drafts and used tokens are filled in.
        without: names of rules to leave out, for tests.
    """
    rules = [rule for rule in RULES if rule.__name__ not in without]
    while p.index < len(p.tokens):
        before = p.index
        if not any(rule(p) for rule in rules) or p.index == before:
            p.index = before + 1
