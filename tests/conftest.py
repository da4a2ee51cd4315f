"""What every test may ask for: a fresh record on each engine and a client without sockets.

DRIVEOUT_TEST_ENGINE=postgres keeps only the tests that work on a record and gives them a PostgreSQL one,
so the same suite is held by both engines (``python3 dev.py test`` runs both passes).
"""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from starlette.testclient import TestClient

from driveout.app import ready_store, web_app
from driveout.store import Store, Tx, metadata, open_store
from tests.tally import note_counts, write_table

pytest_plugins = ("tests.served",)

settings.register_profile("driveout", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("driveout")

ON_POSTGRES = os.environ.get("DRIVEOUT_TEST_ENGINE") == "postgres"
START = datetime(2026, 5, 4, 18, 30, tzinfo=UTC)


class Clock:
    """A clock that tests move by hand."""

    def __init__(self) -> None:
        self.moment = START

    def __call__(self) -> datetime:
        return self.moment

    def forward(self, **step: float) -> None:
        self.moment += timedelta(**step)


@pytest.fixture
def clock() -> Clock:
    return Clock()


def postgres_url() -> str:
    """Address of the PostgreSQL that dev.py starts; the tests fail loudly without it."""
    url = os.environ.get("DRIVEOUT_TEST_POSTGRES")
    if not url:
        pytest.fail("DRIVEOUT_TEST_POSTGRES is not set: run the tests with  python3 dev.py test")
    return url


def pytest_configure(config: pytest.Config) -> None:
    """Name the mark of a test whose command keeps a file of its own whatever the engine."""
    config.addinivalue_line("markers", "sqlite_only: its record is a file whatever the engine of the run")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """On PostgreSQL only what works on a record is run; the rest knows no engine."""
    if not ON_POSTGRES:
        return
    kept: list[pytest.Item] = []
    left: list[pytest.Item] = []
    for item in items:
        names = getattr(item, "fixturenames", ())
        on_record = not {"store", "tx", "crew_record", "record_url"}.isdisjoint(names)
        # What a browser shows does not depend on the engine; the whole story of a car is enough there.
        looks = item.get_closest_marker("browser") and "test_whole_job" not in item.nodeid
        engine_free = "fresh_postgres" in names or item.get_closest_marker("sqlite_only") or looks
        (kept if on_record and not engine_free else left).append(item)
    items[:] = kept
    config.hook.pytest_deselected(items=left)


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """Print what the trials counted."""
    write_table(terminalreporter, "PostgreSQL" if ON_POSTGRES else "SQLite")


@pytest.fixture
def counted(record_property: Callable[[str, object], None]) -> Callable[..., None]:
    """Note what a trial counted: ``counted("killed writers", kills=200, lost=0)``."""
    return note_counts(record_property)


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[sa.Engine]:
    """The test server, for making and dropping databases."""
    admin = sa.make_url(postgres_url()).set(drivername="postgresql+psycopg")
    engine = sa.create_engine(admin, isolation_level="AUTOCOMMIT")
    yield engine
    engine.dispose()


@pytest.fixture(scope="session")
def postgres_pattern(postgres_server: sa.Engine, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A database at the present schema; copying it is far quicker than migrating a new one."""
    name = f"pattern_{uuid.uuid4().hex[:12]}"
    with postgres_server.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    url = postgres_server.url.set(database=name).render_as_string(hide_password=False)
    ready_store(tmp_path_factory.mktemp("pattern"), url).close()
    yield name
    with postgres_server.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


@contextmanager
def _databases(server: sa.Engine, pattern: str = "") -> Iterator[Callable[[], str]]:
    made: list[str] = []

    def make() -> str:
        name = f"t_{uuid.uuid4().hex[:12]}"
        with server.connect() as connection:
            copied = f" TEMPLATE {pattern} STRATEGY FILE_COPY" if pattern else ""
            connection.exec_driver_sql(f"CREATE DATABASE {name}{copied}")
        made.append(name)
        return server.url.set(database=name).render_as_string(hide_password=False)

    yield make
    with server.connect() as connection:
        for name in made:
            connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


@pytest.fixture
def fresh_postgres(postgres_server: sa.Engine) -> Iterator[Callable[[], str]]:
    """Make empty databases on the test server and drop them afterwards."""
    with _databases(postgres_server) as make:
        yield make


@pytest.fixture
def migrated_postgres(postgres_server: sa.Engine, postgres_pattern: str) -> Iterator[Callable[[], str]]:
    """Make databases at the present schema with nothing in them."""
    with _databases(postgres_server, postgres_pattern) as make:
        yield make


@pytest.fixture
def record_url(request: pytest.FixtureRequest) -> str | None:
    """Address of a new record on the engine of this run; None means the file in the home folder."""
    return request.getfixturevalue("migrated_postgres")() if ON_POSTGRES else None


@pytest.fixture
def store(tmp_path: Path, clock: Clock, record_url: str | None) -> Iterator[Store]:
    """A fresh record with the living outlook tied in."""
    opened = ready_store(tmp_path / "home", record_url, clock=clock)
    yield opened
    opened.close()


@pytest.fixture
def tx(tmp_path: Path, record_url: str | None) -> Iterator[Tx]:
    """An open transaction on a fresh record without the outlook, for a part on its own."""
    opened = open_store(record_url or "sqlite://", tmp_path)
    if record_url is None:
        with opened.engine.begin() as connection:
            metadata.create_all(connection)
    with opened.writing() as open_tx:
        yield open_tx
    opened.close()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either_store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """The same promises on both engines."""
    url = request.getfixturevalue("migrated_postgres")() if request.param == "postgres" else None
    opened = ready_store(tmp_path / "home", url, clock=clock)
    yield opened
    opened.close()


class Browser:
    """A person with a browser but without JavaScript: follows redirects, carries the form token."""

    def __init__(self, client: TestClient) -> None:
        self.client = client

    def get(self, path: str) -> str:
        answer = self.client.get(path)
        assert answer.status_code == 200, f"{path}: {answer.status_code} {answer.text[:500]}"
        return answer.text

    def token(self) -> str:
        text = self.client.get("/adverts/new").text
        return text.split('name="csrf" value="')[1].split('"')[0]

    def post(self, path: str, fields: dict, files: dict | None = None, status: int = 200) -> str:
        """Send a form; 200 means that it was carried out and the next page drawn."""
        answer = self.client.post(path, data={"csrf": self.token(), **fields}, files=files)
        assert answer.status_code == status, f"{path}: {answer.status_code} {answer.text[-3000:]}"
        return answer.text


@pytest.fixture
def client(store: Store) -> Iterator[TestClient]:
    with TestClient(web_app(store), base_url="http://localhost:8321") as opened:
        yield opened


@pytest.fixture
def browser(client: TestClient) -> Browser:
    return Browser(client)
