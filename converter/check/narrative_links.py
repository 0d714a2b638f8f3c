"""Links of a narrative that stay within the resource: each must lead to something.

Takes a narrative's `div` and where it stands; adds what leads nowhere to Findings. A link `#a` may lead to an
id or anchor in the narrative, to an element with that id, or to a contained resource.
Source: FHIR R4, https://hl7.org/fhir/R4/narrative.html#css and #id: references within the resource.
"""

import re
from collections.abc import Iterator
from typing import Any

from converter.check.findings import Findings, Scope

_LINK = re.compile(r"""\s(?:href|src)\s*=\s*(?:"#([^"]+)"|'#([^']+)')""")
_ANCHOR = re.compile(r"""\s(?:id|name)\s*=\s*(?:"([^"]+)"|'([^']+)')""")


def check_links(div: Any, path: str, found: Findings, scope: Scope) -> bool:
    """Check the inner links of a narrative; False where it has none."""
    if not isinstance(div, str) or "#" not in div:
        return False
    links = [one or other for one, other in _LINK.findall(div)]
    known = {*_ids(scope.resource), *_ids(scope.container)} if links else set()
    for link in links:
        if link not in known:
            found.add(
                "narrative-link",
                f"{path}.div",
                f"{path}.div: the link #{link} leads nowhere in this resource.",
                expected="the id of an element, an anchor or a contained resource",
            )
    return bool(links)


def _ids(value: Any) -> Iterator[str]:
    """Every id in a resource and every id and anchor in its narratives."""
    if isinstance(value, list):
        for one in value:
            yield from _ids(one)
    elif isinstance(value, dict):
        for name, one in value.items():
            if name == "id" and isinstance(one, str):
                yield one
            elif name == "div" and isinstance(one, str):
                yield from (first or second for first, second in _ANCHOR.findall(one))
            else:
                yield from _ids(one)
