"""Stems of reflex talk that the reader knows without any word list, so that no list can silence them."""

import re

STEMS = re.compile(
    r"ref?le[xc]|clon[uo]s|jerk|babins|hof+man|tr[oeö]+mner|plantar|palmom|glabell|snout|cremast|bulbocav|"
    r"chad+ock|oppenheim|\bdtrs?\b|\bmsrs?\b|\batnr\b|\bmoro\b",
    re.IGNORECASE,
)
STEM = "reflex stem"
"""The flag of an unknown word that holds one; no word list can give it, since it has a space."""
STEMMED, PLAIN = frozenset({STEM}), frozenset[str]()


def has_stem(text: str) -> bool:
    """Whether a text holds a stem of reflex talk."""
    return STEMS.search(text) is not None
