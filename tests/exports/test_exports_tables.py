"""The analysis tables, opened by the tools that analysts use.

Outside: PyPI `polars` and `duckdb` open CSV and Parquet; PyPI `frictionless` checks the data package and
every CSV file by its table schema; PyPI `jsonschema-rs` checks rows by their JSON Schema (2020-12). What the
demo's notes say is in `fixtures/demo/README.md`.
"""

import csv
import json
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import jsonschema_rs
import polars as pl
import pytest
from omop_samples import make_site, plexor
from tables_samples import export, sample_archive

from converter.exports.tables.fields import Field, Table, tables
from converter.words import shipped_vocabulary

TABLES = tables(shipped_vocabulary())
POLARS = {
    "text": pl.String,
    "integer": pl.Int64,
    "number": pl.Float64,
    "boolean": pl.Boolean,
    "date": pl.Date,
}
DUCKDB = {"text": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "boolean": "BOOLEAN", "date": "DATE"}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    site = make_site(tmp_path_factory.mktemp("demo"))
    export(site.archive, "tables", site.folder / "tables")
    return site.folder / "tables"


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sample")
    export(sample_archive(folder), "tables", folder / "tables")
    return folder / "tables"


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_types_are_kept(demo: Path, table: Table) -> None:
    frame = pl.read_parquet(demo / f"{table.name}.parquet")
    assert dict(frame.schema) == {field.name: POLARS[field.kind] for field in table.fields}
    described = duckdb.execute(f"DESCRIBE FROM '{demo}/{table.name}.parquet'").fetchall()
    assert [(row[0], row[1]) for row in described] == [
        (field.name, DUCKDB[field.kind]) for field in table.fields
    ]


@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
@pytest.mark.parametrize("which", ["demo", "sample"])
def test_csv_and_parquet_hold_the_same(which: str, table: Table, request: pytest.FixtureRequest) -> None:
    folder: Path = request.getfixturevalue(which)
    frame = pl.read_parquet(folder / f"{table.name}.parquet")
    read = pl.read_csv(folder / f"{table.name}.csv", schema={field.name: pl.String for field in table.fields})
    bare = read.with_columns(pl.all().str.strip_prefix("'"))
    typed = bare.with_columns(typed_column(field) for field in table.fields)
    assert typed.equals(frame)
    manifest = json.loads((folder / "manifest.json").read_text())
    assert manifest["rows"][table.name] == frame.height


@pytest.mark.parametrize("which", ["demo", "sample"])
def test_the_data_package_is_valid(which: str, request: pytest.FixtureRequest) -> None:
    frictionless = pytest.importorskip("frictionless")
    folder: Path = request.getfixturevalue(which)
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["name", "rowNumber", "fieldName", "type"])[:10]
    assert [task.stats["rows"] for task in report.tasks] == [
        json.loads((folder / "manifest.json").read_text())["rows"][name] for name in TABLES
    ]


def test_the_schema_tells_of_a_wrong_cell(demo: Path, tmp_path: Path) -> None:
    """The check can fail: a level that is not allowed, and a grade that is no number."""
    frictionless = pytest.importorskip("frictionless")
    package = json.loads((demo / "datapackage.json").read_text())
    package["resources"] = [one for one in package["resources"] if one["name"] == "patient-time"]
    lines = (demo / "patient_time.csv").read_text().splitlines()
    lines[1] = lines[1].replace(",normal,", ",lively,")
    lines[2] = lines[2].replace(",2,bedside,", ",two,bedside,")
    (tmp_path / "patient_time.csv").write_text("\n".join(lines) + "\n")
    (tmp_path / "datapackage.json").write_text(json.dumps(package))
    report = frictionless.validate(str(tmp_path / "datapackage.json"))
    found = {(row, name) for row, name in report.flatten(["rowNumber", "fieldName"])}
    assert found == {(2, "level"), (3, "grade")}


@pytest.mark.parametrize("which", ["demo", "sample"])
@pytest.mark.parametrize("table", TABLES.values(), ids=list(TABLES))
def test_rows_fit_their_json_schema(which: str, table: Table, request: pytest.FixtureRequest) -> None:
    folder: Path = request.getfixturevalue(which)
    schema = json.loads((folder / "schemas" / f"{table.name}.schema.json").read_text())
    jsonschema_rs.meta.validate(schema)
    validator = jsonschema_rs.validator_for(schema, validate_formats=True)
    rows = pl.read_parquet(folder / f"{table.name}.parquet").to_dicts()
    for row in rows:
        validator.validate({name: plain(value) for name, value in row.items()})
    if rows:
        wrong = {name: plain(value) for name, value in rows[0].items()} | {"exam": "one"}
        assert not validator.is_valid(wrong)


def test_the_dictionary_names_every_field_of_every_table(demo: Path) -> None:
    with (demo / "dictionary.csv").open(newline="") as stream:
        rows = list(csv.DictReader(stream))
    named = [(row["table"], row["field"], row["type"]) for row in rows]
    assert named == [(table.name, one.name, one.kind) for table in TABLES.values() for one in table.fields]
    assert all(row["source"] and row["meaning"].endswith(".") for row in rows)
    level = next(row for row in rows if (row["table"], row["field"]) == ("findings", "level"))
    assert level["allowed"] == "absent | low | normal | high | clonus"


def test_cells_that_look_like_formulas_are_guarded_in_csv_alone(sample: Path) -> None:
    """The note says `Knee jerks +2 right, -1 left`."""
    lines = (sample / "findings.csv").read_text()
    assert ",'+2," in lines
    assert ",'-1," in lines
    written = pl.read_parquet(sample / "findings.parquet").filter(pl.col("note") == "n8")["as_written"]
    assert written.to_list() == ["+2", "-1"]


def test_what_a_region_covers_is_marked(demo: Path) -> None:
    """P-001, first visit: 2+ throughout on the right, biceps and triceps 3+ on the left."""
    rows = pl.read_parquet(demo / "reflexes.parquet").filter(pl.col("note") == "P-001-V1")
    bases = {(row["site"], row["side"]): row["basis"] for row in rows.to_dicts()}
    assert bases["biceps", "left"] == "direct"
    assert bases["biceps", "right"] == "covered"
    assert bases["all_limbs", "right"] == "direct"
    assert ("brachioradialis", "left") not in bases, "nothing is said of it"
    (exam,) = pl.read_parquet(demo / "exams.parquet").filter(pl.col("note") == "P-001-V1").to_dicts()
    assert (exam["biceps_left"], exam["biceps_right"], exam["brachioradialis_left"]) == ("3", "2", None)
    (basis,) = pl.read_parquet(demo / "exam_bases.parquet").filter(pl.col("note") == "P-001-V1").to_dicts()
    assert (basis["biceps_left"], basis["biceps_right"]) == ("direct", "covered")


def test_an_amputated_leg_is_not_tested_and_never_absent(demo: Path) -> None:
    """P-010: right leg amputated; left ankle in a cast at the second visit; all refused at the third."""
    exams = pl.read_parquet(demo / "exams.parquet").filter(pl.col("patient") == "P-010")
    assert exams["achilles_right"].to_list() == ["not_tested", "not_tested", None]
    assert exams["achilles_left"].to_list() == ["2", "not_tested", None]
    levels = pl.read_parquet(demo / "exam_levels.parquet").filter(pl.col("patient") == "P-010")
    assert levels["achilles_right"].to_list() == [None, None, None]
    assert exams["not_shown"].to_list() == [0, 0, 1], "the refusal names no reflex"


def test_a_quoted_earlier_exam_has_a_row_of_its_own(demo: Path) -> None:
    """P-006, third visit, quotes the exam of 12 May, 2+ throughout; its own right knee jerk is 1+."""
    exams = pl.read_parquet(demo / "exams.parquet").filter(pl.col("note") == "P-006-V3")
    knees = dict(zip(exams["exam_status"], exams["patellar_right"], strict=True))
    assert knees == {"current": "1", "historical": "2"}
    days = pl.read_parquet(demo / "patient_time.parquet").filter(pl.col("note") == "P-006-V3")
    assert set(days["value"].to_list()) >= {"1"}
    assert days.filter(pl.col("site") == "patellar", pl.col("side") == "right")["value"].to_list() == ["1"]


def test_a_mother_s_reflexes_stand_in_no_exam(demo: Path) -> None:
    """P-011, second visit; the patient's own ankle jerks are absent, which the same note says."""
    (exam,) = pl.read_parquet(demo / "exams.parquet").filter(pl.col("note") == "P-011-V2").to_dicts()
    assert exam["not_shown"] == 1
    rows = pl.read_parquet(demo / "findings.parquet").filter(pl.col("status") == "family")
    assert (rows["note"].to_list(), rows["observation"].to_list()) == (["P-011-V2"], [None])


def test_a_patient_over_time(demo: Path) -> None:
    """P-001: left ankle clonus of 4, 3 and 2 beats on 3 and 17 February and 10 March 2025."""
    rows = pl.read_parquet(demo / "patient_time.parquet").filter(
        pl.col("patient") == "P-001", pl.col("site") == "ankle_clonus", pl.col("side") == "left"
    )
    columns = ["visit", "day", "value", "days_since_first", "days_since_previous"]
    assert rows.select(columns).rows() == [
        (1, date(2025, 2, 3), "4_beats", 0, None),
        (2, date(2025, 2, 17), "3_beats", 14, 14),
        (3, date(2025, 3, 10), "2_beats", 35, 21),
    ]


def test_grades_of_two_scales_stand_in_rows_of_their_own(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path, {"n1": "Left knee jerk 2/4. Right knee jerk ++."})
    export(archive, "tables", tmp_path / "tables")
    grades = pl.read_parquet(tmp_path / "tables" / "exam_grades.parquet")
    found = {row["scale"]: (row["patellar_left"], row["patellar_right"]) for row in grades.to_dicts()}
    assert found == {"out-of-four": (2.0, None), "plus-count": (None, 2.0)}


def test_values_that_do_not_agree_are_all_shown_and_have_no_grade(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path, {"n1": "Left knee jerk 2+. Plan: review. Left knee jerk 3+."})
    export(archive, "tables", tmp_path / "tables")
    (row,) = pl.read_parquet(tmp_path / "tables" / "patient_time.parquet").to_dicts()
    assert (row["value"], row["values_given"], row["grade"], row["level"]) == ("2; 3", 2, None, None)


def test_a_comparison_alone_is_no_strength(sample: Path) -> None:
    """`Left knee jerk brisker than the right` does not say that it is brisk."""
    (exam,) = pl.read_parquet(sample / "exams.parquet").filter(pl.col("note") == "n2").to_dicts()
    assert exam["patellar_left"] == "greater_than_other_side"
    (levels,) = pl.read_parquet(sample / "exam_levels.parquet").filter(pl.col("note") == "n2").to_dicts()
    assert levels["patellar_left"] is None


def test_a_denied_word_is_not_that_word(sample: Path) -> None:
    """`Knee jerks not brisk`."""
    rows = pl.read_parquet(sample / "findings.parquet").filter(pl.col("denied"))
    assert rows.select("note", "value", "descriptor", "level").rows() == [("n4", "not_brisk", None, None)]


def test_a_value_that_is_on_no_scale_has_no_number(sample: Path) -> None:
    """`Right triceps 7+`."""
    rows = pl.read_parquet(sample / "findings.parquet").filter(pl.col("as_written") == "7+")
    assert rows.select("grade_low", "level", "scale").rows() == [(None, None, None)]


def test_words_can_be_withheld(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path)
    export(archive, "tables", tmp_path / "tables", "--no-quotes")
    frame = pl.read_parquet(tmp_path / "tables" / "findings.parquet")
    assert frame["quote"].null_count() == frame.height > 0
    assert b"throughout" not in (tmp_path / "tables" / "findings.csv").read_bytes()


def test_text_with_breaks_and_quotes_comes_back(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path, {"n1": 'Reflexes:\r\n"knee"\tjerk\r 2+,\n both sides \\. KJ\r3+ left'})
    export(archive, "tables", tmp_path / "tables")
    frame = pl.read_parquet(tmp_path / "tables" / "findings.parquet")
    text = 'Reflexes:\r\n"knee"\tjerk\r 2+,\n both sides \\. KJ\r3+ left'
    assert frame.height
    for row in frame.to_dicts():
        assert row["quote"] == text[row["start_offset"] : row["end_offset"]]


def test_an_archive_that_gives_nothing_gives_empty_tables(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path)
    export(archive, "tables", tmp_path / "tables", "--patient", "nobody")
    for name, table in TABLES.items():
        frame = pl.read_parquet(tmp_path / "tables" / f"{name}.parquet")
        assert (frame.height, tuple(frame.columns)) == (0, table.columns)


def test_the_same_archive_gives_the_same_bytes(tmp_path: Path) -> None:
    archive = sample_archive(tmp_path)
    made = []
    for name in ("one", "two"):
        export(archive, "tables", tmp_path / name)
        made.append(
            {
                one.name: one.read_bytes()
                for one in (tmp_path / name).glob("*.*")
                if one.name != "manifest.json"
            }
        )
    assert made[0] == made[1]
    assert any(name.endswith(".parquet") for name in made[0])


def test_choices_of_other_targets_are_refused(tmp_path: Path) -> None:
    ran = plexor("export", sample_archive(tmp_path), "--to", "tables", "--out", tmp_path / "t", "--gzip")
    assert (ran.status, ran.err) == (2, "fatal --gzip: does not belong to --to tables; leave it out.\n")


def typed_column(field: Field) -> pl.Expr:
    """A column of text in the type of its field."""
    column = pl.col(field.name)
    if field.kind == "boolean":
        return column == "true"
    return column.str.to_date("%Y-%m-%d") if field.kind == "date" else column.cast(POLARS[field.kind])


def plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, date) else value
