"""How many Observations a second are checked against our profile, invariants on, beside two other judges.

Run as `python tests/benchmarks/bench_check.py [COUNT]`. The others do less: `fhir.resources` (R4B) parses a
resource into its models, `fhirkit-rs` (PyPI, through PLEXOR_PARTS) judges base conformance in compiled code;
neither knows profiles, slices or invariants. Each Observation has its own ids, offsets, words, dates and
narrative; codes repeat, as they do in real output. Times are those of one core's work, not of the clock.
"""

import copy
import json
import os
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from random import Random
from typing import Any

from measuring import Figure

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


def rate(resources: Iterable[Any], judge: Callable[[Any], object]) -> float:
    """Resources a second of processor time."""
    start, count = time.process_time(), 0
    for resource in resources:
        judge(resource)
        count += 1
    return count / (time.process_time() - start)


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
    checker.check(resources[0])
    ours = rate(resources, checker.check)
    models = rate(resources, Observation.model_validate)
    name = "check against the profile, invariants on"
    yield Figure(
        name, f"{ours:,.0f} resources/s", f"{models:,.0f} resources/s (fhir.resources, parsing alone)",
        f"{ours / models:.2f}",
    )  # fmt: skip
    validate = fhirkit_validate()
    if validate is not None:
        theirs = rate([json.dumps(one) for one in resources], validate)
        yield Figure(
            name, f"{ours:,.0f} resources/s", f"{theirs:,.0f} resources/s (fhirkit-rs, base alone)",
            f"{ours / theirs:.2f}",
        )  # fmt: skip


def main(arguments: list[str]) -> int:
    """Measure and print."""
    from fhir.resources.R4B.observation import Observation

    resources = observations(int(arguments[0]) if arguments else COUNT)
    start = time.process_time()
    checker = Checker(load_definitions())
    first = checker.check(resources[0])
    print(f"start and first Observation: {time.process_time() - start:8.2f} s")
    assert not [one for one in first if one.severity == "error"], first
    ours = rate(resources, checker.check)
    models = rate(resources, Observation.model_validate)
    print(f"ours, against the profile:   {ours:8.0f} Observations/s")
    print(f"fhir.resources, parse alone: {models:8.0f} Observations/s; ours is {ours / models:.2f} as fast")
    validate = fhirkit_validate()
    if validate is None:
        print("fhirkit-rs: not at hand (PLEXOR_PARTS)")
    else:
        theirs = rate([json.dumps(one) for one in resources], validate)
        print(
            f"fhirkit-rs, base validation: {theirs:8.0f} Observations/s; ours is {ours / theirs:.2f} as fast"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
