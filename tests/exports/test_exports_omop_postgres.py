"""The OMOP rows in a real PostgreSQL with all constraints of CDM 5.4 on.

Outside: the table definitions of PyPI `omop-cdm` 0.7 (from the DDL of OHDSI CommonDataModel v5.4), and the
Debian package `postgresql`.
"""

import os
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest
from omop_cdm_schema import Cdm, put_constraints_off
from omop_samples import DEMO, Site, make_site, plexor, small_site
from postgres_server import Server, running_server
from sqlalchemy import create_engine, text

TABLES = ("note", "note_nlp", "observation", "measurement")


@pytest.fixture(scope="module")
def demo_site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return make_site(tmp_path_factory.mktemp("site"))


@pytest.fixture(scope="module")
def server(demo_site: Site) -> Iterator[Server]:
    """A server with a database `empty` that holds the CDM with the site's persons and visits."""
    with running_server() as running:
        running.command("createdb", "empty")
        reached = {"host": running.env["PGHOST"], "user": running.env["PGUSER"], "dbname": "empty"}
        engine, cdm = create_engine("postgresql+psycopg://", connect_args=reached), Cdm("cdm")
        with engine.begin() as connection:
            connection.execute(text("CREATE SCHEMA cdm"))
            cdm.make(connection)
            put_constraints_off(connection)
            cdm.seed(connection, demo_site.persons.values(), demo_site.visits)
        engine.dispose()
        yield running


@pytest.fixture
def site(demo_site: Site, tmp_path: Path, server: Server, monkeypatch: pytest.MonkeyPatch) -> Site:
    """A site with a fresh database, reached through the environment."""
    for name in [name for name in os.environ if name.startswith("PG")]:
        monkeypatch.delenv(name)
    for name, value in server.env.items():
        monkeypatch.setenv(name, value)
    if not server.running:
        server.start()
    server.command("dropdb", "--if-exists", "--force", "site")
    server.command("createdb", "--template", "empty", "site")
    return demo_site.copied(tmp_path)


@contextmanager
def database() -> Iterator[psycopg.Connection]:
    with psycopg.connect("") as connection:
        yield connection


def counts() -> dict[str, int]:
    with database() as connection:
        return {table: one(connection, f"SELECT count(*) FROM cdm.{table}") for table in TABLES}


def one(connection: psycopg.Connection, query: str) -> int:
    row = connection.execute(query.encode()).fetchone()
    assert row is not None
    return int(row[0])


def test_the_database_holds_what_the_manifest_counts(site: Site) -> None:
    ran = site.export("out", "--postgres")
    assert ran.status == 0, ran.err
    manifest = site.manifest("out")
    assert counts() == manifest["rows"] == manifest["database"]["rows_put_in"]
    assert manifest["database"]["rows_taken_out"] == dict.fromkeys(TABLES, 0)
    # 30 dated notes of the demo name one of the eleven patients that the site knows.
    assert manifest["rows"]["note"] == 30
    with database() as connection:
        orphans = one(
            connection,
            "SELECT count(*) FROM cdm.note_nlp WHERE note_id NOT IN (SELECT note_id FROM cdm.note)",
        )
    assert orphans == 0


def test_doing_it_again_makes_no_row_twice(site: Site) -> None:
    assert site.export("first", "--postgres").status == 0
    before = counts()
    ran = site.export("second", "--postgres")
    assert ran.status == 0, ran.err
    assert counts() == before
    assert site.manifest("second")["database"]["rows_taken_out"] == before
    for table in TABLES:
        assert site.rows("first", table) == site.rows("second", table), "keys stay"


def test_a_patient_taken_out_of_the_map_leaves_the_database(site: Site) -> None:
    assert site.export("first", "--postgres").status == 0
    kept = [line for line in (site.folder / "persons.csv").read_text().splitlines() if "P-001" not in line]
    (site.folder / "fewer.csv").write_text("\n".join(kept) + "\n")
    assert site.export("second", "--postgres", persons="fewer.csv").status == 0
    with database() as connection:
        assert one(connection, "SELECT count(*) FROM cdm.note WHERE person_id = 1001") == 0
        assert one(connection, "SELECT count(*) FROM cdm.observation WHERE person_id = 1001") == 0
        assert one(connection, "SELECT count(*) FROM cdm.note") == 27


def test_rows_of_others_are_never_touched(site: Site) -> None:
    """Number 1 is taken by another program's row; a key file that begins higher has room."""
    with database() as connection:
        connection.execute(
            "INSERT INTO cdm.observation (observation_id, person_id, observation_concept_id,"
            " observation_date, observation_type_concept_id) VALUES (1, 1001, 0, '2025-01-01', 0)"
        )
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert "1 rows with numbers of ours that plexor did not write, e.g. 1" in ran.err
    assert counts() == {"note": 0, "note_nlp": 0, "observation": 1, "measurement": 0}
    assert not (site.folder / "out").exists()
    (site.folder / "keys.sqlite").unlink()
    assert site.export("out", "--postgres", "--first-key", "500000").status == 0
    with database() as connection:
        assert (
            one(connection, "SELECT min(observation_id) FROM cdm.observation WHERE observation_id > 1")
            == 500000
        )
        assert one(connection, "SELECT count(*) FROM cdm.observation WHERE observation_id = 1") == 1


def test_a_person_that_the_database_lacks_is_named(site: Site) -> None:
    with database() as connection:
        connection.execute("DELETE FROM cdm.visit_occurrence")
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert (
        "cdm.visit_occurrence lacks 30 of the numbers that your map names, e.g. visit_occurrence_id 5001"
        in ran.err
    )
    assert counts() == dict.fromkeys(TABLES, 0)


def test_a_concept_that_the_database_lacks_is_named(site: Site) -> None:
    with (site.folder / "map.csv").open("a") as stream:
        stream.write("biceps,,2000009999,Observation,,,\n")
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert "2000009999" in ran.err
    assert "Nothing was changed." in ran.err
    assert counts() == dict.fromkeys(TABLES, 0)


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("biceps,,2000000008,Observation,,,", "into observation that are of another domain, e.g. 2000000008"),
        ("biceps,,2000000007,Measurement,,,", "into measurement that are of another domain, e.g. 2000000007"),
    ],
)
def test_a_concept_of_another_domain_is_refused(site: Site, row: str, sentence: str) -> None:
    """CDM 5.4: rows whose concept is of the domain Condition or Measurement must go into that table."""
    with (site.folder / "map.csv").open("a") as stream:
        stream.write(f"{row}\n")
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert sentence in ran.err
    assert counts() == dict.fromkeys(TABLES, 0)


def test_a_visit_of_another_person_is_refused(site: Site) -> None:
    with database() as connection:
        connection.execute(
            "UPDATE cdm.visit_occurrence SET person_id = 1002 WHERE visit_occurrence_id = 5001"
        )
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert "name a visit of another person, e.g. visit_occurrence_id 5001" in ran.err
    assert counts() == dict.fromkeys(TABLES, 0)


def test_notes_that_are_gone_leave_the_database_when_asked(site: Site) -> None:
    """The archive is made anew without the first note of P-001."""
    assert site.export("first", "--postgres").status == 0
    fewer = (DEMO / "notes.csv").read_text(encoding="utf-8").replace("P-001-V1", "P-001-V9", 1)
    (site.folder / "notes.csv").write_text(fewer, encoding="utf-8")
    site.archive.unlink()
    assert plexor("load", site.folder / "notes.csv", "--archive", site.archive).status < 2
    assert site.export("second", "--postgres").status == 0
    assert counts()["note"] == 31, "the note under its old name and under its new one"
    assert site.export("third", "--postgres", "--drop-gone").status == 0
    assert counts() == site.manifest("third")["rows"]
    assert counts()["note"] == 30


def test_hostile_text_goes_in_as_it_is(site: Site, tmp_path: Path) -> None:
    """All kinds of line ends, the end mark of COPY, quotes, a long note, characters past the first plane."""
    text = 'A "quote"\r\n\\.\n=1+1\t\\N\r\U0001f9b5 ' + "long words " * 20_000 + "KJ 2+ bilaterally."
    small = small_site(tmp_path, [{"id": "n1", "text": text, "patient": "p1", "authored": "2031-03-04"}])
    ran = small.export("out", "--postgres")
    assert ran.status == 0, ran.err
    with database() as connection:
        row = connection.execute("SELECT note_text FROM cdm.note").fetchone()
    assert row == (text,)


def test_another_key_file_is_refused(site: Site) -> None:
    assert site.export("first", "--postgres").status == 0
    before = counts()
    (site.folder / "keys.sqlite").rename(site.folder / "lost.sqlite")
    ran = site.export("second", "--postgres")
    assert ran.status == 2
    assert "numbered by another file of keys" in ran.err
    assert counts() == before


def test_a_schema_without_the_tables_is_told_before_anything_is_written(site: Site) -> None:
    ran = site.export("out", "--postgres", "--schema", "elsewhere")
    assert ran.status == 2
    assert "the schema elsewhere has no table note" in ran.err
    assert not (site.folder / "out").exists()


def test_a_connection_that_is_cut_in_the_middle_leaves_nothing_half(
    site: Site, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server ends our session while its rows are going in; the next run finishes."""
    from converter.exports.omop.loading import Loading

    usual = Loading._run
    cut: list[int] = []

    def cutting(self: Loading, statement: str, *arguments: object, **names: str) -> int:
        if statement.startswith("INSERT INTO {table}") and names["table"] == "observation" and not cut:
            with database() as other:
                cut.append(one(other, "SELECT pg_terminate_backend(pid)::int FROM pg_stat_activity"
                                      " WHERE application_name = 'plexor'"))  # fmt: skip
        return usual(self, statement, *arguments, **names)  # type: ignore[arg-type]

    monkeypatch.setattr(Loading, "_run", cutting)
    ran = site.export("out", "--postgres")
    assert cut == [1]
    assert ran.status == 2
    assert "run the same command again" in ran.err
    assert counts() == dict.fromkeys(TABLES, 0)
    assert not (site.folder / "out").exists()
    again = site.export("out", "--postgres")
    assert again.status == 0, again.err
    assert "Went on after" in again.err
    assert counts() == site.manifest("out")["rows"]


def test_a_server_that_dies_leaves_nothing_half(
    site: Site, server: Server, monkeypatch: pytest.MonkeyPatch
) -> None:
    from converter.exports.omop.loading import Loading

    usual = Loading._run
    died = threading.Event()

    def dying(self: Loading, statement: str, *arguments: object, **names: str) -> int:
        if (
            statement.startswith("INSERT INTO {table}")
            and names["table"] == "measurement"
            and not died.is_set()
        ):
            died.set()
            server.stop("immediate")
        return usual(self, statement, *arguments, **names)  # type: ignore[arg-type]

    monkeypatch.setattr(Loading, "_run", dying)
    assert site.export("out", "--postgres").status == 2
    server.start()
    assert counts() == dict.fromkeys(TABLES, 0)
    assert site.export("out", "--postgres").status == 0
    assert counts() == site.manifest("out")["rows"]


def test_no_server_is_one_sentence(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PGHOST", str(site.folder))
    monkeypatch.setenv("PGPASSWORD", "not-to-be-seen")
    ran = site.export("out", "--postgres")
    assert ran.status == 2
    assert ran.err.startswith("fatal PostgreSQL: connection")
    assert ran.err.count("\n") == 1
    assert "not-to-be-seen" not in ran.err
    assert not (site.folder / "out").exists()


def test_no_text_of_a_note_stands_in_the_table_of_ours(site: Site) -> None:
    assert site.export("out", "--postgres").status == 0
    with database() as connection:
        columns = connection.execute(
            "SELECT column_name FROM information_schema.columns WHERE table_name = 'plexor_written'"
        ).fetchall()
        written = one(connection, "SELECT count(*) FROM cdm.plexor_written")
    assert sorted(name for (name,) in columns) == ["keys", "note_id", "row_id", "table_name"]
    assert written == sum(counts().values())
