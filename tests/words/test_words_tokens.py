"""Wordings are cut into the same tokens whether they hold letters alone or marks as well."""

from hypothesis import given
from hypothesis import strategies as st

from converter.words.phrases import tokens_of

PIECES = st.sampled_from(
    [*"abKJz", " ", "  ", "\t", "é", "ß", "'", "-", "2", "C5", "\u00a0", "knee jerk", "DTR"]
)


@given(st.lists(PIECES, max_size=8).map("".join))
def test_a_mark_behind_a_wording_changes_none_of_its_tokens(wording: str) -> None:
    """A mark is a token of its own; wordings of letters alone are cut more quickly than those with marks."""
    assert tokens_of(f"{wording} +") == (*tokens_of(wording), "+")
