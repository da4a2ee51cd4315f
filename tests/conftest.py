"""What every test may ask for: a fresh record on each engine and a client without sockets."""

from __future__ import annotations

import os
import uuid
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from hypothesis import HealthCheck, settings
from starlette.testclient import TestClient

from driveout.app import ready_store, web_app
from driveout.store import Store

settings.register_profile("driveout", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("driveout")

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


@pytest.fixture
def fresh_postgres() -> Iterator[Callable[[], str]]:
    """Make empty databases on the test server and drop them afterwards."""
    admin = sa.make_url(postgres_url()).set(drivername="postgresql+psycopg")
    engine = sa.create_engine(admin, isolation_level="AUTOCOMMIT")
    made: list[str] = []

    def make() -> str:
        name = f"t_{uuid.uuid4().hex[:12]}"
        with engine.connect() as connection:
            connection.exec_driver_sql(f"CREATE DATABASE {name}")
        made.append(name)
        return admin.set(database=name).render_as_string(hide_password=False)

    yield make
    with engine.connect() as connection:
        for name in made:
            connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
    engine.dispose()


@pytest.fixture
def store(tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """A fresh SQLite record with the living outlook tied in."""
    opened = ready_store(tmp_path / "home", clock=clock)
    yield opened
    opened.close()


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def either_store(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """The same promises on both engines."""
    url = request.getfixturevalue("fresh_postgres")() if request.param == "postgres" else None
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
