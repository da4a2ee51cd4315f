"""The command ``driveout codes`` on a pseudo-terminal with a simulated adapter behind it."""

from __future__ import annotations

import json
import os
import sys
import termios
import threading
import tty
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from driveout.app import ready_store, run
from driveout.cars.actions import add_car, get_car
from driveout.wear import commands
from driveout.wear.actions import entries_of
from tests.wear.test_adapter import CAN, VIN


class Adapter:
    """Answers on one end of a pseudo-terminal; the other end's name is handed to the command."""

    def __init__(self, answers: dict[str, str], speed: int = termios.B38400, gone_at: str = "") -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.port = os.ttyname(self.slave)
        self.answers, self.speed, self.gone_at = answers, speed, gone_at
        self.heard: list[str] = []
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        pending = b""
        while True:
            try:
                got = os.read(self.master, 256)
            except OSError:
                return
            if termios.tcgetattr(self.master)[5] != self.speed:
                os.write(self.master, b"\xf8\x83\xc6\xff\xfe")
                pending = b""
                continue
            pending += got
            while b"\r" in pending:
                line, pending = pending.split(b"\r", 1)
                command = line.decode()
                self.heard.append(command)
                if command == self.gone_at:
                    os.write(self.master, b"7E8 10 0C 43 05")
                    os.close(self.slave)
                    os.close(self.master)
                    self.master = self.slave = -1
                    return
                answer = self.answers.get(command, "OK")
                if answer != "silence":
                    os.write(self.master, f"{answer}\r\r>".encode())

    def close(self) -> None:
        for end in (self.slave, self.master):
            if end >= 0:
                os.close(end)


@pytest.fixture
def adapter() -> Iterator[Callable[..., Adapter]]:
    made: list[Adapter] = []

    def make(*args: object, **more: object) -> Adapter:
        made.append(Adapter(*args, **more))  # type: ignore[arg-type]
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def car(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> int:
    home = tmp_path / "home"
    monkeypatch.setenv("DRIVEOUT_HOME", str(home))
    monkeypatch.delenv("DRIVEOUT_DATABASE", raising=False)
    store = ready_store(home)
    with store.writing() as tx:
        made = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=store.now(), vin=VIN).id
    store.close()
    return made


def test_codes_are_read_kept_with_the_car_and_nothing_is_cleared(
    car: int, adapter: Callable[..., Adapter], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plugged = adapter(CAN)

    assert run(["codes", str(car), "--port", plugged.port]) == 0
    out = capsys.readouterr().out
    assert "P0301 misfire, cylinder 1" in out
    assert f"Control unit and typed number are the same: {VIN}" in out
    assert "Nothing was cleared in the car" in out
    assert "04" not in plugged.heard
    store = ready_store(tmp_path / "home")
    with store.reading() as tx:
        kept = entries_of(tx, car, "engine")["engine"]
        assert get_car(tx, car).vin == VIN
    store.close()
    assert kept == {"codes": "stored: P0133 P0301 U0100 P0171 P0420", "not_ready": "yes"}


def test_a_number_unlike_the_typed_one_is_said_and_changes_nothing(
    car: int, adapter: Callable[..., Adapter], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = CAN["0902"].replace("7E8 22 47 31 31 38 33 34 31", "7E8 22 47 31 31 39 39 39 39")
    plugged = adapter(CAN | {"0902": other})

    assert run(["codes", str(car), "--port", plugged.port]) == 0
    out = capsys.readouterr().out
    assert f"carries 1G4AH59H45G119999, you typed {VIN}: they differ at position 14, 15, 16, 17" in out
    store = ready_store(tmp_path / "home")
    with store.reading() as tx:
        assert get_car(tx, car).vin == VIN
    store.close()


def test_without_a_car_it_only_shows_and_the_speed_is_found(
    car: int, adapter: Callable[..., Adapter], capsys: pytest.CaptureFixture[str]
) -> None:
    plugged = adapter(CAN, speed=termios.B9600)

    assert run(["codes", "--port", plugged.port, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data["vin"] == VIN
    assert [row["code"] for row in data["codes"]["stored"]][:2] == ["P0133", "P0301"]


def test_silence_names_port_and_speeds(
    car: int,
    adapter: Callable[..., Adapter],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    plugged = adapter({"ATZ": "silence"})
    monkeypatch.setattr(commands, "SPEEDS", (38_400,))

    assert run(["codes", str(car), "--port", plugged.port]) == 1
    assert f"Tried 38400 baud on {plugged.port}" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"0100": "SEARCHING...\rUNABLE TO CONNECT"}, "Turn the ignition on"),
        ({"0100": "NO DATA"}, "Turn the ignition on"),
        ({"03": "7E8 06 43 02 01 33"}, "broke off twice"),
        ({name: "NO DATA" for name in ("0101", "03", "07", "0A", "0902")}, "nothing was kept"),
    ],
)
def test_what_the_car_does_not_tell_is_said_and_nothing_is_kept(
    car: int,
    adapter: Callable[..., Adapter],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    answers: dict[str, str],
    words: str,
) -> None:
    plugged = adapter(CAN | answers)

    assert run(["codes", str(car), "--port", plugged.port]) == 1
    assert words in capsys.readouterr().err
    store = ready_store(tmp_path / "home")
    with store.reading() as tx:
        assert entries_of(tx, car, "engine") == {}
    store.close()


def test_a_plug_pulled_in_the_middle_keeps_nothing(
    car: int, adapter: Callable[..., Adapter], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plugged = adapter(CAN, gone_at="03")

    assert run(["codes", str(car), "--port", plugged.port]) == 1
    assert "went away in the middle. Nothing was kept" in capsys.readouterr().err
    store = ready_store(tmp_path / "home")
    with store.reading() as tx:
        assert entries_of(tx, car, "engine") == {}
    store.close()


def test_a_missing_port_and_a_missing_package_say_what_to_do(
    car: int, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(["codes", "--port", "/dev/no-such-port"]) == 1
    assert "cannot be opened" in capsys.readouterr().err
    assert run(["codes"]) == 1
    assert "--port" in capsys.readouterr().err
    monkeypatch.setitem(sys.modules, "serial", None)
    assert run(["codes", "--port", "/dev/ttyS0"]) == 1
    assert 'python -m pip install "driveout[obd]"' in capsys.readouterr().err
