"""The OMOP rows in SQLite with the tables and constraints of CDM 5.4.

Outside: the table definitions of PyPI `omop-cdm` 0.7 (from the DDL of OHDSI CommonDataModel v5.4).
"""

from collections.abc import Iterator
from pathlib import Path

import pytest
from omop_cdm_schema import Cdm
from omop_samples import Site, make_site
from sqlalchemy import Connection, create_engine
from sqlalchemy.exc import IntegrityError

TABLES = ("note", "note_nlp", "observation", "measurement")
CDM = Cdm(None)


@pytest.fixture(scope="module")
def demo_site(tmp_path_factory: pytest.TempPathFactory) -> Site:
    return make_site(tmp_path_factory.mktemp("site"))


@pytest.fixture
def connection(demo_site: Site) -> Iterator[Connection]:
    engine = create_engine("sqlite://")
    with engine.connect() as opened:
        with opened.begin():
            CDM.make(opened)
            CDM.seed(opened, demo_site.persons.values(), demo_site.visits)
        driver = opened.connection.driver_connection
        assert driver is not None
        driver.execute("PRAGMA foreign_keys = ON")
        yield opened
    engine.dispose()


def test_the_demo_goes_in_with_constraints_on_and_the_counts_are_those_of_the_manifest(
    demo_site: Site, connection: Connection, tmp_path: Path
) -> None:
    site = demo_site.copied(tmp_path)
    assert site.export("out").status == 0
    with connection.begin():
        for table in TABLES:
            CDM.load_csv(connection, table, site.folder / "out" / f"{table}.csv")
    assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
    found = {table: connection.exec_driver_sql(f"SELECT count(*) FROM {table}").scalar() for table in TABLES}
    assert found == site.manifest("out")["rows"]


def test_the_constraints_are_on(demo_site: Site, connection: Connection, tmp_path: Path) -> None:
    site = demo_site.copied(tmp_path)
    with (site.folder / "map.csv").open("a") as stream:
        stream.write("biceps,,2000009999,Observation,,,\n")
    assert site.export("out").status == 0
    with pytest.raises(IntegrityError, match="FOREIGN KEY"):
        CDM.load_csv(connection, "observation", site.folder / "out" / "observation.csv")
