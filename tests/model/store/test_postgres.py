"""The store in PostgreSQL; needs a server whose address is in VIADUCT_TEST_POSTGRES."""

from __future__ import annotations

import importlib
import os
import uuid

import pytest

from model.clock import utc_now
from model.problems import StoreError
from model.store import open_store
from model.store.postgres import MIGRATIONS, PostgresStore
from tests.conftest import require
from tests.model.builders import an_event
from tests.model.store.promises import KeptStorePromises


@pytest.fixture
def url():
    """A schema of our own, gone after the test."""
    server = os.environ.get("VIADUCT_TEST_POSTGRES")
    require(server, "no PostgreSQL server: run .ci/postgres pytest, or set VIADUCT_TEST_POSTGRES")
    psycopg = importlib.import_module("psycopg")
    schema = f"test_{uuid.uuid4().hex}"
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {schema}")
        joint = "&" if "?" in server else "?"
        yield f"{server}{joint}options=-csearch_path%3D{schema}"
        connection.execute(f"DROP SCHEMA {schema} CASCADE")


@pytest.mark.postgres
class TestPostgres(KeptStorePromises):
    @pytest.fixture
    def open_log(self, url):
        return lambda clock: PostgresStore(url, clock)

    @pytest.mark.parametrize(
        "statement",
        ["UPDATE events SET quantity = '1'", "DELETE FROM events", "TRUNCATE events"],
    )
    def test_no_tool_can_change_or_delete_an_event(self, log, url, statement):
        log.append([an_event()])
        psycopg = importlib.import_module("psycopg")
        with psycopg.connect(url) as other, pytest.raises(psycopg.Error, match="append-only"):
            other.execute(statement)
        assert log.last_seq() == 1

    def test_a_newer_log_is_refused(self, log, url):
        psycopg = importlib.import_module("psycopg")
        with psycopg.connect(url) as other:
            other.execute("INSERT INTO events_version VALUES (%s)", (len(MIGRATIONS) + 1,))
        with pytest.raises(StoreError, match="newer version of this program"):
            open_store(url)

    def test_a_lost_connection_is_opened_again(self, log, url):
        log.append([an_event()])
        psycopg = importlib.import_module("psycopg")
        backend = log._open.info.backend_pid
        with psycopg.connect(url, autocommit=True) as other:
            other.execute("SELECT pg_terminate_backend(%s, 5000)", (backend,))
        with pytest.raises(StoreError, match="does not answer"):
            log.append([an_event()])
        log.append([an_event()])
        assert log.last_seq() == 2


def test_a_missing_driver_says_how_to_install_it(monkeypatch):
    def missing(name: str):
        raise ImportError(name)

    monkeypatch.setattr("model.store.postgres.importlib.import_module", missing)
    with pytest.raises(StoreError, match="pip install"):
        PostgresStore("postgresql://nobody@localhost/none", utc_now)


def test_a_server_that_does_not_answer_is_said_without_the_password(tmp_path):
    pytest.importorskip("psycopg")
    with pytest.raises(StoreError, match="does not answer") as said:
        open_store(f"postgresql://foreman:hunter2@/none?host={tmp_path}")
    assert "hunter2" not in str(said.value)
