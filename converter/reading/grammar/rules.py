"""The sentence shapes, in the order in which they are tried."""

from collections.abc import Callable

from converter.reading.grammar.parser import HEADS, VALUES, Parser
from converter.reading.grammar import shapes_negated, shapes_named, shapes_other, shapes_valued

Rule = Callable[[Parser], bool]

RULES: tuple[Rule, ...] = (
    shapes_other.legend,
    shapes_other.pair_order,
    shapes_other.planned,
    shapes_other.lead_side,
    shapes_other.lead_region,
    shapes_other.exception,
    shapes_other.otherwise,
    shapes_other.side_against_side,
    shapes_negated.denied,
    shapes_named.untested,
    shapes_named.respectively,
    shapes_named.named_value,
    shapes_valued.untested_named,
    shapes_valued.value_named,
    shapes_named.sign_named,
    shapes_valued.value_alone,
)


def read_sentence(p: Parser, without: frozenset[str] = frozenset()) -> None:
    """Read one sentence: at each token the first rule that fits takes its part.

    Args:
        p: the sentence; its drafts and used tokens are filled in.
        without: names of rules to leave out, for tests.
    """
    rules = [rule for rule in RULES if rule.__name__ not in without]
    while p.index < len(p.tokens):
        before = p.index
        if not any(rule(p) for rule in rules) or p.index == before:
            p.index = before + 1
