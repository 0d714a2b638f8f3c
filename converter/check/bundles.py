"""Rules of bundles that no definition states in a form that can be evaluated, and ids of contained resources.

Source: FHIR R4, https://hl7.org/fhir/R4/bundle.html and https://hl7.org/fhir/R4/references.html#contained.
"""

import re
from collections import Counter
from collections.abc import Container, Iterator
from typing import Any

from converter.check.documents import check_included, check_reached
from converter.check.findings import Findings
from converter.check.path_values import descendants, raw

Json = dict[str, Any]

_REQUESTS = frozenset({"batch", "transaction", "history"})
_RESTFUL = re.compile(r"https?://.+/(?P<type>[A-Z][A-Za-z]+)/(?P<id>[A-Za-z0-9.\-]{1,64})$")
_TEMPORARY = ("urn:uuid:", "urn:oid:")
_FREE = frozenset({"transaction", "batch", "transaction-response", "batch-response"})
_METHODS_WITH_CONTENT = frozenset({"POST", "PUT"})


def check_bundle(bundle: Json, path: str, found: Findings, types: Container[str]) -> None:
    """Check a bundle's entries against each other and its type; `types` are the resource types known."""
    kind = str(bundle.get("type"))
    for place, entry in _entries(bundle, path):
        _check_full_url(entry, kind, place, found, types)
        request = entry.get("request")
        if kind in _REQUESTS - {"history"} and isinstance(request, dict):
            _check_request(entry, request, place, found)
    _check_doubles(bundle, kind, path, found)
    if kind in ("document", "message"):
        check_included(bundle, path, found)
    if kind == "document":
        check_reached(bundle, path, found)


def check_contained(resource: Json, path: str, found: Findings) -> None:
    """Check that contained resources have ids of their own and are referred to (dom-3)."""
    contained = resource.get("contained")
    if not isinstance(contained, list):
        return
    resources = [one for one in contained if isinstance(one, dict)]
    ids = Counter(one.get("id") for one in resources if isinstance(one.get("id"), str))
    links = {
        raw(one)
        for one in descendants(resource)
        if isinstance(raw(one), str) and str(raw(one)).startswith("#")
    }
    for number, one in enumerate(resources):
        place, identifier = f"{path}.contained[{number}]", one.get("id")
        if not isinstance(identifier, str):
            found.add("contained-id", place, f"{place} needs an id, so that it can be referred to.")
            continue
        if ids[identifier] > 1:
            found.add("contained-id", place, f"{place}: the id {identifier!r} is used more than once.")
        own = {raw(v) for v in descendants(one) if isinstance(raw(v), str)}
        if f"#{identifier}" not in links and "#" not in own:
            found.add(
                "invariant",
                place,
                f"{place} breaks the rule dom-3: a contained resource must be referred to from the resource.",
                rule="dom-3",
                expected=f"a reference to #{identifier}",
            )


def _entries(bundle: Json, path: str) -> Iterator[tuple[str, Json]]:
    entries = bundle.get("entry")
    for number, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict):
            yield f"{path}.entry[{number}]", entry


def _check_full_url(entry: Json, kind: Any, place: str, found: Findings, types: Container[str]) -> None:
    url, resource = entry.get("fullUrl"), entry.get("resource")
    if not isinstance(resource, dict):
        return
    if not isinstance(url, str):
        if kind not in _FREE:
            found.add(
                "bundle-full-url",
                place,
                f"{place} needs a fullUrl; only entries of transactions and batches may go without.",
                expected="fullUrl",
            )
        return
    match, identifier = _RESTFUL.match(url), resource.get("id")
    if match and match["type"] in types:
        if (match["type"], match["id"]) != (resource.get("resourceType"), identifier):
            found.add(
                "bundle-full-url",
                f"{place}.fullUrl",
                f"{place}.fullUrl must end with /{resource.get('resourceType')}/{identifier}.",
                expected=f"/{resource.get('resourceType')}/{identifier}",
            )
    elif ":" not in url.partition("/")[0]:
        found.add(
            "bundle-full-url",
            f"{place}.fullUrl",
            f"{place}.fullUrl is {url!r}; it must be absolute.",
            expected="an absolute URL",
        )


def _check_request(entry: Json, request: Json, place: str, found: Findings) -> None:
    method, resource, url = str(request.get("method")), entry.get("resource"), request.get("url")
    if method in _METHODS_WITH_CONTENT and resource is None:
        found.add("bundle-request", place, f"{place}: a {method} needs a resource.", expected="resource")
    if method in ("GET", "DELETE", "HEAD") and resource is not None:
        found.add(
            "bundle-request", place, f"{place}: a {method} carries no resource.", expected="no resource"
        )
    if isinstance(url, str) and isinstance(resource, dict) and method in _METHODS_WITH_CONTENT:
        named = url.partition("?")[0].partition("/")[0]
        if named != resource.get("resourceType") and ":" not in named and named and "$" not in url:
            found.add(
                "bundle-request",
                f"{place}.request.url",
                f"{place}.request.url names {named}, but the resource is a {resource.get('resourceType')}.",
                expected=str(resource.get("resourceType")),
            )


def _check_doubles(bundle: Json, kind: Any, path: str, found: Findings) -> None:
    if kind in ("history", "batch-response", "transaction-response"):
        return
    seen: set[tuple[str, object]] = set()
    for place, entry in _entries(bundle, path):
        url, resource = entry.get("fullUrl"), entry.get("resource")
        if not isinstance(url, str):
            continue
        meta = resource.get("meta") if isinstance(resource, dict) else None
        key = (
            url,
            meta.get("versionId")
            if isinstance(meta, dict) and isinstance(meta.get("versionId"), str)
            else None,
        )
        if key in seen:
            found.add(
                "bundle-full-url",
                f"{place}.fullUrl",
                f"{place}.fullUrl {url} stands on another entry too.",
                expected="a fullUrl of its own",
                rule="bdl-7",
            )
        seen.add(key)
