"""The database's own statistics: kept on SQLite once a day, by PostgreSQL itself."""

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from service.runs.statistics import keep_statistics
from service.runs.tasks import sweep_runs
from tests.factories import VisitFactory
from tests.personas import Firm

on_sqlite = pytest.mark.skipif(connection.vendor != "sqlite", reason="PostgreSQL counts by itself")


@on_sqlite
def test_sqlite_learns_how_its_visits_are_spread(in_firm: Firm) -> None:
    VisitFactory(spa=in_firm.spa)

    assert keep_statistics()

    with connection.cursor() as cursor:
        cursor.execute("SELECT idx FROM sqlite_stat1 WHERE tbl = 'visits_visit'")
        assert "visit_by_day" in {index for (index,) in cursor.fetchall()}


@on_sqlite
def test_it_counts_once_a_day_however_often_a_worker_sweeps(db: Any) -> None:
    with CaptureQueriesContext(connection) as asked:
        sweep_runs()
        sweep_runs()

    assert [query["sql"] for query in asked if query["sql"] == "ANALYZE"] == ["ANALYZE"]


@pytest.mark.skipif(connection.vendor != "postgresql", reason="SQLite does not count by itself")
def test_postgresql_is_left_alone(db: Any) -> None:
    assert not keep_statistics()
