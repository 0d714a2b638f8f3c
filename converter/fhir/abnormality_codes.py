"""The abnormalities that rules can find, as code and label, from the shipped table of the words."""

import tomllib
from collections.abc import Mapping
from functools import cache
from types import MappingProxyType
from typing import Any

from converter.words.vocabulary import SHIPPED


@cache
def abnormality_table() -> Mapping[str, Mapping[str, Any]]:
    """The table `words/abnormalities.toml`, by code."""
    with (SHIPPED / "abnormalities.toml").open("rb") as handle:
        return MappingProxyType(tomllib.load(handle))


@cache
def abnormality_labels() -> Mapping[str, str]:
    """Code of an abnormality -> what a person would call it."""
    return MappingProxyType({code: entry["label"] for code, entry in abnormality_table().items()})
