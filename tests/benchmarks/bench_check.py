"""How many Observations a second are checked against our profile, invariants on, beside two other judges.

Run as `python tests/benchmarks/bench_check.py [COUNT]`. The others do less: `fhir.resources` (R4B) parses a
resource into its models, `fhirkit-rs` (PyPI, through PLEXOR_PARTS) judges base conformance in compiled code;
neither knows profiles, slices or invariants. Each Observation has its own ids, offsets, words, dates and
narrative; codes repeat, as they do in real output. Times are those of one core's work, not of the clock.
"""

import copy
import json
import os
import statistics
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from random import Random
from typing import Any

from measuring import ROUNDS, Figure, at_least, machine

from converter.check import Checker, load_definitions
from converter.shipped_files import profiles_folder

Json = dict[str, Any]
COUNT = 3000


def observations(count: int, seed: int = 1) -> list[Json]:
    """So many findings, each unlike the others where real ones differ."""
    files = sorted((profiles_folder() / "examples" / "pass").glob("finding*.json"))
    seeds = [json.loads(file.read_text(encoding="utf-8")) for file in files]
    random = Random(seed)
    found = []
    for number in range(count):
        resource = copy.deepcopy(seeds[number % len(seeds)])
        _vary(resource, number, random)
        found.append(resource)
    return found


def _vary(value: Any, number: int, random: Random) -> None:
    if isinstance(value, list):
        for one in value:
            _vary(one, number, random)
    if not isinstance(value, dict):
        return
    for key, one in value.items():
        if key == "valueInteger":
            value[key] = random.randrange(20_000)
        elif key == "div":
            value[key] = one.replace("</p>", f" ({number})</p>", 1)
        elif key == "effectiveDateTime":
            value[key] = (
                f"20{random.randrange(10, 40)}-{random.randrange(1, 13):02}-{random.randrange(1, 29):02}"
            )
        elif key in ("valueString", "id") and isinstance(one, str):
            value[key] = f"{one[:40]}{number}"
        elif key in ("value", "reference") and isinstance(one, str):
            value[key] = f"{one}{number}"
        else:
            _vary(one, number, random)


def rates(*judged: tuple[list[Any], Callable[[Any], object]]) -> list[float]:
    """Resources a second of processor time that each judge takes: medians of rounds, in turns."""
    times: list[list[float]] = [[] for _ in judged]
    for _ in range(ROUNDS):
        for taken, (resources, judge) in zip(times, judged, strict=True):
            start = time.process_time()
            for resource in resources:
                judge(resource)
            taken.append(time.process_time() - start)
    return [
        len(resources) / statistics.median(taken) for taken, (resources, _) in zip(times, judged, strict=True)
    ]


def fhirkit_validate() -> Callable[[str], object] | None:
    """The validation of `fhirkit-rs`, or None where it is not at hand."""
    folder = Path(os.environ.get("PLEXOR_PARTS", "/nowhere")) / "python"
    if not (folder / "fhirkit").is_dir():
        return None
    sys.path.append(str(folder))
    import fhirkit  # type: ignore[import-not-found, unused-ignore]

    validate: Callable[[str], object] = fhirkit.validate
    return validate


def figures(count: int = COUNT) -> Iterator[Figure]:
    """Checking beside judges that do less."""
    from fhir.resources.R4B.observation import Observation

    resources = observations(count)
    checker = Checker(load_definitions())
    assert not [one for one in checker.check(resources[0]) if one.severity == "error"]
    validate = fhirkit_validate()
    judged: list[tuple[list[Any], Callable[[Any], object]]] = [
        (resources, checker.check),
        (resources, Observation.model_validate),
    ]
    if validate is not None:
        judged.append(([json.dumps(one) for one in resources], validate))
    ours, models, *others = rates(*judged)
    name = "check against the profile, invariants on"
    yield at_least(name, ours, models, "fhir.resources, parsing alone", "resources", 0)
    for theirs in others:
        yield at_least(name, ours, theirs, "fhirkit-rs, base conformance alone", "resources", 0)


if __name__ == "__main__":
    print(machine())
    for figure in figures(int(sys.argv[1]) if len(sys.argv) > 1 else COUNT):
        print(figure)
