"""Our own check of a phenopacket: what the standard requires, and the library does not look at.

Takes a packet as the library writes it to JSON; gives one sentence for each fault with its place. Source: the
documentation of the GA4GH Phenopacket Schema 2.0 (phenopacket, metadata, resource, ontologyclass,
phenotypicfeature, evidence, individual, timeelement), and HPO for what excludes what.
"""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from converter.exports.hpo import ancestors

Json = Mapping[str, Any]

SCHEMA_VERSION = "2.0"
_CURIE = re.compile(r"([A-Za-z_][A-Za-z0-9_.-]*):\S+")
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?Z")
_AGE = re.compile(r"P(?=\d)(\d+Y)?(\d+M)?(\d+W)?(\d+D)?")
_RESOURCE = ("id", "name", "url", "version", "namespacePrefix", "iriPrefix")
_META = ("created", "createdBy", "phenopacketSchemaVersion")
_TIMES = frozenset({"age", "ageRange", "gestationalAge", "ontologyClass", "timestamp", "interval"})


def packet_problems(packet: Json) -> Iterator[str]:
    """What is wrong with a phenopacket; nothing for a sound one."""
    yield from _missing(packet, ("id",), "")
    meta = packet.get("metaData", {})
    yield from _meta_problems(meta)
    prefixes = {one.get("namespacePrefix") for one in meta.get("resources", ())}
    subject = packet.get("subject")
    if subject is not None:
        yield from _missing(subject, ("id",), "subject.")
        yield from _time_problems(subject.get("timeAtLastEncounter"), "subject.timeAtLastEncounter", prefixes)
    features = packet.get("phenotypicFeatures", ())
    for number, feature in enumerate(features):
        yield from _feature_problems(feature, f"phenotypicFeatures[{number}]", prefixes)
    yield from _contradictions(features)


def _meta_problems(meta: Json) -> Iterator[str]:
    yield from _missing(meta, _META, "metaData.")
    if "created" in meta and not _INSTANT.fullmatch(meta["created"]):
        yield "metaData.created is no instant in UTC"
    if meta.get("phenopacketSchemaVersion", SCHEMA_VERSION) != SCHEMA_VERSION:
        yield f"metaData.phenopacketSchemaVersion is not {SCHEMA_VERSION}"
    if not meta.get("resources"):
        yield "metaData.resources is empty"
    for number, resource in enumerate(meta.get("resources", ())):
        yield from _missing(resource, _RESOURCE, f"metaData.resources[{number}].")


def _feature_problems(feature: Json, place: str, prefixes: set[str]) -> Iterator[str]:
    yield from _class_problems(feature.get("type"), f"{place}.type", prefixes)
    for number, modifier in enumerate(feature.get("modifiers", ())):
        yield from _class_problems(modifier, f"{place}.modifiers[{number}]", prefixes)
    yield from _time_problems(feature.get("onset"), f"{place}.onset", prefixes)
    for number, evidence in enumerate(feature.get("evidence", ())):
        at = f"{place}.evidence[{number}]"
        yield from _class_problems(evidence.get("evidenceCode"), f"{at}.evidenceCode", prefixes)
        reference = evidence.get("reference")
        if reference is not None and not (reference.get("id") or reference.get("reference")):
            yield f"{at}.reference names nothing"


def _class_problems(value: Json | None, place: str, prefixes: set[str]) -> Iterator[str]:
    if value is None:
        yield f"{place} is missing"
        return
    yield from _missing(value, ("id", "label"), f"{place}.")
    curie = _CURIE.fullmatch(value.get("id", ""))
    if curie is None:
        yield f"{place}.id is no CURIE"
    elif curie[1] not in prefixes:
        yield f"{place}.id has the prefix {curie[1]}, which no resource explains"


def _time_problems(value: Json | None, place: str, prefixes: set[str]) -> Iterator[str]:
    if value is None:
        return
    if len(_TIMES & value.keys()) != 1:
        yield f"{place} says not exactly one time"
    if "ontologyClass" in value:
        yield from _class_problems(value["ontologyClass"], f"{place}.ontologyClass", prefixes)
    ages = [value["age"]] if "age" in value else []
    if "ageRange" in value:
        ages += [value["ageRange"].get(end, {}) for end in ("start", "end")]
    for age in ages:
        if not _AGE.fullmatch(age.get("iso8601duration", "")):
            yield f"{place} has an age that is no ISO 8601 duration"


def _contradictions(features: Sequence[Json]) -> Iterator[str]:
    """An excluded term speaks of all below it, so nothing that is present may stand there."""
    named = [(one.get("type", {}).get("id", ""), one.get("excluded", False)) for one in features]
    excluded = {term for term, is_excluded in named if is_excluded}
    for term in dict.fromkeys(term for term, is_excluded in named if not is_excluded):
        for above in sorted(({term} | ancestors(term)) & excluded):
            yield f"phenotypicFeatures excludes {above} and has {term}"


def _missing(value: Json, names: Sequence[str], place: str) -> Iterator[str]:
    for name in names:
        if not str(value.get(name, "")).strip():
            yield f"{place}{name} is missing"
