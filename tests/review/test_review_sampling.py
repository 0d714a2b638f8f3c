"""A stratified sample: spread, repeatable, and the same whatever the order."""

import random
from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from converter.review.sampling import Draw, Item, allocated, passage_of


def items(number: int = 300) -> list[Item]:
    return [
        Item(
            "finding", "urn:lakeside", f"n{at}", "hash", ((at, at + 2),), finding=f"f{at}",
            family=["stretch", "plantar", "clonus"][min(at % 10, 8) // 4],
            examiner=f"ex-{at % 3}", certainty="stated",
        )
        for at in range(number)
    ]  # fmt: skip


def drawn(
    offered: list[Item], size: int, seed: int = 1, by: tuple[str, ...] = ("family", "examiner")
) -> list[Item]:
    draw = Draw(size, by, seed)
    draw.offer(offered)
    return list(draw.sample(size).items)


def test_the_same_seed_gives_the_same_sample_in_whatever_order_notes_come() -> None:
    shuffled = items()
    random.Random(3).shuffle(shuffled)
    assert drawn(shuffled, 40) == drawn(items(), 40)
    assert drawn(items(), 40, seed=2) != drawn(items(), 40)


def test_each_stratum_gives_its_share() -> None:
    sizes = Counter(item.family for item in drawn(items(), 60, by=("family",)))
    assert sizes == {"stretch": 24, "plantar": 24, "clonus": 12}


def test_a_rare_stratum_gives_one_at_least() -> None:
    rare = Item("finding", "", "n", "h", ((0, 1),), family="primitive", examiner="ex-0")
    assert rare in drawn([*items(), rare], 20)


def test_every_item_has_its_chance() -> None:
    """Over 200 seeds of 30 of 300 an item comes 20 times on average; binomial, beyond 45 is out of reach."""
    met = Counter(item.id for seed in range(200) for item in drawn(items(), 30, seed, by=()))
    assert len(met) == 300
    assert max(met.values()) < 45
    assert min(met.values()) > 2


def test_no_more_than_there_is() -> None:
    assert len(drawn(items(5), 100)) == 5
    assert drawn([], 100) == []


@given(st.dictionaries(st.tuples(st.text(max_size=3)), st.integers(1, 500), max_size=12), st.integers(0, 900))
def test_an_allocation_adds_up_and_asks_no_stratum_for_more_than_it_has(
    population: dict[tuple[str, ...], int], size: int
) -> None:
    given_out = allocated(population, size)
    assert sum(given_out.values()) == min(size, sum(population.values()))
    assert all(0 <= given_out[one] <= population[one] for one in population)
    if size >= len(population):
        assert all(given_out.values())


def test_a_passage_shows_the_place_in_its_words() -> None:
    text = "Before that.\nKJ was 2+ on the left."
    assert passage_of(text, ((13, 15), (20, 22))) == "Before that. [[KJ]] was [[2+]] on the left."
    assert passage_of(text, ((13, 15),), around=3) == "…t. [[KJ]] wa…"
    assert passage_of("", ((0, 2),)) == ""
    assert passage_of("abcdef", ((0, 4), (2, 5))) == "[[abcd]][[e]]f"
