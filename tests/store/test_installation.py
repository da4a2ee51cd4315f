"""What `driveout check` says about an installation that is not in order."""

from __future__ import annotations

import json
import shutil
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import driveout
from driveout.app import run
from driveout.demo.actions import fill
from driveout.store import Store
from driveout.store import installation as inst

PACKAGE = Path(driveout.__file__).parent


def test_an_installation_in_order_has_nothing_to_say(tmp_path: Path) -> None:
    assert inst.python_troubles() == []
    assert inst.folder_troubles(tmp_path) == []
    assert inst.folder_troubles(tmp_path / "not" / "made" / "yet") == []
    assert inst.file_troubles(PACKAGE) == []


def test_a_python_that_is_too_old_is_named() -> None:
    assert "Python 3.10.12 is too old; 3.11" in inst.python_troubles((3, 10, 12))[0]


def test_a_package_that_is_missing_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inst, "NEEDED", ("numpy", "no_such_package_here"))

    assert inst.python_troubles() == ["The package no_such_package_here is missing; install driveout again."]


def test_a_disk_that_is_nearly_full_is_named(tmp_path: Path) -> None:
    free = shutil.disk_usage(tmp_path).free

    assert "are free" in inst.folder_troubles(tmp_path, least_free=free + 10**12)[0]


def test_a_folder_that_cannot_be_written_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    def refused(**options: object) -> object:
        raise OSError(30, "Read-only file system")

    monkeypatch.setattr(tempfile, "NamedTemporaryFile", refused)
    assert "Read-only file system" in inst.folder_troubles(tmp_path)[0]


def test_a_key_that_others_can_read_is_named(tmp_path: Path) -> None:
    (tmp_path / "secret").write_bytes(b"x")
    (tmp_path / "secret").chmod(0o644)

    assert "chmod 600" in inst.folder_troubles(tmp_path)[0]


def test_torn_and_missing_shipped_files_are_named(tmp_path: Path) -> None:
    (tmp_path / "wear" / "data").mkdir(parents=True)
    (tmp_path / "wear" / "data" / "limits.yaml").write_text("a: [1, 2")
    (tmp_path / "wear" / "data" / "more.toml").write_text("a = = 1")

    found = "\n".join(inst.file_troubles(tmp_path))
    assert "wear/data/limits.yaml is torn" in found
    assert "wear/data/more.toml is torn" in found
    assert "web/static/driveout.css is missing" in found


def test_a_clock_before_the_last_event_is_named() -> None:
    now = datetime(2026, 5, 4, tzinfo=UTC)

    assert inst.clock_troubles(now, now) == inst.clock_troubles(now, None) == []
    assert "Set the clock" in inst.clock_troubles(now, now + timedelta(hours=1))[0]


def test_the_command_says_it_all(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("DRIVEOUT_HOME", str(tmp_path / "home"))
    assert run(["check", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["troubles"] == []

    monkeypatch.setattr(inst, "OLDEST_PYTHON", (99, 0))
    assert run(["check"]) == 2
    assert "is too old" in capsys.readouterr().err


def test_a_record_from_a_newer_driveout_is_named_beside_everything_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, store: Store, capsys: pytest.CaptureFixture[str]
) -> None:
    fill(store)
    if store.engine.dialect.name != "sqlite":
        return
    with store.engine.begin() as tx:
        tx.exec_driver_sql("UPDATE alembic_version SET version_num = '9999'")
    monkeypatch.setenv("DRIVEOUT_HOME", str(store.home))
    monkeypatch.delenv("DRIVEOUT_DATABASE", raising=False)
    monkeypatch.setattr(inst, "OLDEST_PYTHON", (99, 0))

    assert run(["check"]) == 2
    said = capsys.readouterr().err
    assert "9999" in said
    assert "is too old" in said
