"""Loads what the rules know: anatomy, abnormality codes, the comparison table and the kinds of cause.

Takes the shipped TOML tables, or a site's own in the same form; gives frozen values. Leaves every judgement
to `assess`. The tables are part of the vocabulary's fingerprint, as every data file in this folder is.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from converter.words.vocabulary import SHIPPED, VocabularyError


@dataclass(frozen=True, slots=True)
class Root:
    """A root that serves a reflex.

    Attributes:
        root: e.g. `C5`.
        part: `primary` or `contributing`.
        sources: short names of the references that name it; `M` is from memory.
    """

    root: str
    part: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Nerve:
    """A nerve on the way to the muscle of a reflex."""

    nerve: str
    sources: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Above:
    """What an increased reflex points to where published figures exist."""

    segment: str
    figures: str
    source: str


@dataclass(frozen=True, slots=True)
class ReflexAnatomy:
    """Roots and nerves of one reflex.

    Attributes:
        site: the reflex.
        order: place on the way from the brain down (pons 0, C1 1, T1 9, L1 21, S1 26).
        roots: the primary root first.
        nerves: nearest to the muscle first.
        muscle: the muscle that answers.
        disagreement: where references differ, or None.
        above: what an increase points to, or None.
        may_be_absent: absent on both sides in healthy people too.
    """

    site: str
    order: int
    roots: tuple[Root, ...]
    nerves: tuple[Nerve, ...]
    muscle: str
    disagreement: str | None
    above: Above | None
    may_be_absent: bool


@dataclass(frozen=True, slots=True)
class Ceiling:
    """How well reflexes alone tell the place of a lesion, as published."""

    text: str
    source: str


@dataclass(frozen=True, slots=True)
class HpoTerm:
    """A term of the Human Phenotype Ontology and what it holds for.

    Attributes:
        site: a reflex, a variant of a sign, `limb:upper`, `region:legs` ..., or `*`.
        term: e.g. `HP:0009072`.
        label: the term's label.
        level: the level it is restricted to, or None.
        descriptor: the word it is restricted to, or None.
    """

    site: str
    term: str
    label: str
    level: str | None = None
    descriptor: str | None = None


@dataclass(frozen=True, slots=True)
class AbnormalityCode:
    """A code in plexor's CodeSystem of abnormalities."""

    code: str
    rule: str
    label: str
    definition: str
    scope: str
    source: str
    hpo: tuple[HpoTerm, ...]


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of cause; `urgent` names the settings of care that treat such a change as urgent."""

    text: str
    urgent: str | None = None


@dataclass(frozen=True, slots=True)
class Causes:
    """Reference text for one pattern."""

    pattern: str
    title: str
    shown: tuple[str, ...]
    kinds: tuple[Kind, ...]
    source: str


@dataclass(frozen=True, slots=True)
class Comparison:
    """How words stand against numbers, and which grades may be normal when both sides agree.

    Attributes:
        words: for each word, the lowest and highest grade it can stand for, by scale.
        may_be_normal: lowest and highest such grade, by scale.
        may_be_normal_words: words that may be normal when both sides agree.
    """

    words: Mapping[str, Mapping[str, tuple[float, float]]]
    may_be_normal: Mapping[str, tuple[float, float]]
    may_be_normal_words: frozenset[str]


@dataclass(frozen=True, slots=True)
class Knowledge:
    """All tables that the rules rest on."""

    reflexes: Mapping[str, ReflexAnatomy]
    ceilings: Mapping[str, Ceiling]
    codes: Mapping[str, AbnormalityCode]
    comparison: Comparison
    causes: tuple[Causes, ...]


def load_knowledge(folder: Path = SHIPPED) -> Knowledge:
    """Load the tables from a folder.

    Raises:
        VocabularyError: a table is missing, cannot be read or lacks a field.
    """
    anatomy = _table(folder / "anatomy.toml")
    ceilings = anatomy.pop("ceiling", {})
    try:
        return Knowledge(
            reflexes=MappingProxyType({site: _reflex(site, entry) for site, entry in anatomy.items()}),
            ceilings=MappingProxyType({name: Ceiling(**entry) for name, entry in ceilings.items()}),
            codes=MappingProxyType(
                {code: _code(code, entry) for code, entry in _table(folder / "abnormalities.toml").items()}
            ),
            comparison=_comparison(_table(folder / "comparison.toml")),
            causes=tuple(
                _causes(pattern, entry) for pattern, entry in _table(folder / "causes.toml").items()
            ),
        )
    except (KeyError, TypeError) as error:
        raise VocabularyError(f"{folder}: a table of anatomy or abnormalities lacks {error}") from error


@cache
def shipped_knowledge() -> Knowledge:
    """The shipped tables, loaded once."""
    return load_knowledge()


def _table(file: Path) -> dict[str, Any]:
    try:
        with file.open("rb") as handle:
            return tomllib.load(handle)
    except (OSError, tomllib.TOMLDecodeError) as error:
        raise VocabularyError(f"{file}: cannot be read as a table ({error})") from error


def _reflex(site: str, entry: Mapping[str, Any]) -> ReflexAnatomy:
    return ReflexAnatomy(
        site=site,
        order=entry["order"],
        roots=tuple(Root(root["root"], root["part"], tuple(root["sources"])) for root in entry["roots"]),
        nerves=tuple(Nerve(nerve["nerve"], tuple(nerve["sources"])) for nerve in entry["nerves"]),
        muscle=entry["muscle"],
        disagreement=entry.get("disagreement"),
        above=Above(**entry["above"]) if "above" in entry else None,
        may_be_absent=entry.get("may_be_absent", False),
    )


def _code(code: str, entry: Mapping[str, Any]) -> AbnormalityCode:
    return AbnormalityCode(
        code=code,
        rule=entry["rule"],
        label=entry["label"],
        definition=entry["definition"],
        scope=entry["scope"],
        source=entry["source"],
        hpo=tuple(HpoTerm(**term) for term in entry.get("hpo", ())),
    )


def _causes(pattern: str, entry: Mapping[str, Any]) -> Causes:
    return Causes(
        pattern=pattern,
        title=entry["title"],
        shown=tuple(entry["shown"]),
        kinds=tuple(Kind(**kind) for kind in entry["kinds"]),
        source=entry["source"],
    )


def _comparison(entry: Mapping[str, Any]) -> Comparison:
    return Comparison(
        words=MappingProxyType(
            {
                word: MappingProxyType({scale: _pair(pair) for scale, pair in scales.items()})
                for word, scales in entry["words"].items()
            }
        ),
        may_be_normal=MappingProxyType(
            {scale: _pair(pair) for scale, pair in entry["may-be-normal"].items()}
        ),
        may_be_normal_words=frozenset(entry["may-be-normal-words"]["words"]),
    )


def _pair(pair: list[float]) -> tuple[float, float]:
    low, high = pair
    return float(low), float(high)
