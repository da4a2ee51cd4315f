"""Commands of a person, or of a crew whose record is on PostgreSQL."""

from __future__ import annotations

import pytest

from tests.conftest import ON_POSTGRES


@pytest.fixture(autouse=True)
def crew_record(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the commands find the record of this run's engine."""
    monkeypatch.delenv("DRIVEOUT_DATABASE", raising=False)
    if ON_POSTGRES:
        monkeypatch.setenv("DRIVEOUT_DATABASE", request.getfixturevalue("migrated_postgres")())
