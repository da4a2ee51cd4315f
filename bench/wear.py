"""Readings: how many outside values were checked, the worst against its tolerance, time to a saved verdict."""

from __future__ import annotations

import tempfile
import time
import tomllib
from pathlib import Path
from typing import Any

import numpy as np

from tests.published import test_published as runner

SHEETS = ("wear.toml",)


def _cases() -> list[dict[str, Any]]:
    return [case for sheet in SHEETS for case in tomllib.loads((runner.HERE / sheet).read_text())["case"]]


def _deviation(case: dict[str, Any]) -> float:
    """Deviation in units of its tolerance; an exact case that differs counts as infinitely far."""
    result = runner.called(case)
    if case.get("exact"):
        return 0.0 if str(result) == case["printed"] else float("inf")
    return abs(float(result) - float(case["printed"])) / runner.tolerance(case)


def _libraries() -> list[float]:
    """Deviations from other libraries, each in units of its stated tolerance."""
    import ambiance
    import pint
    from CoolProp.CoolProp import PropsSI

    from driveout.wear import read_quantity
    from driveout.wear.compression import altitude_band
    from driveout.wear.coolant import freezing_c

    found = []
    fluids = {
        ("ethylene", "volume"): "AEG",
        ("ethylene", "mass"): "MEG",
        ("propylene", "volume"): "APG",
        ("propylene", "mass"): "MPG",
    }
    for (glycol, by), name in fluids.items():
        for percent in range(10, 61):
            exact = PropsSI("T_FREEZE", "T", 300, "P", 101325, f"INCOMP::{name}[{percent / 100}]") - 273.15
            found.append(abs(freezing_c(percent, glycol=glycol, by=by) - exact) / 0.26)
    sea = ambiance.Atmosphere(0)
    for metres in range(0, 6000, 100):
        air, band = ambiance.Atmosphere(metres), altitude_band(metres)
        found.append(abs(band.pressure / float(air.pressure[0] / sea.pressure[0]) - 1) / 1e-5)
        found.append(abs(band.density / float(air.density[0] / sea.density[0]) - 1) / 1e-5)
    units: Any = pint.UnitRegistry()
    for text, unit, other in (
        ("150 psi", "kpa", "kilopascal"),
        ("0.866 inch", "mm", "millimeter"),
        ("38000 mile", "km", "kilometer"),
    ):
        found.append(abs(read_quantity(text, unit) / units(text).to(other).magnitude - 1) / 1e-9)
    return [*found, *_numbers(), *_sizes()]


def _numbers() -> list[float]:
    """Check digit and model year against the registry's patterns; one that differs is infinitely far."""
    import ultravin

    from driveout.cars.vin import read_vin

    found = []
    for wmi in ("1HG", "1G1", "2T1", "4T1", "1FA", "KMH"):
        for number in ultravin.generate(40, seed=5, wmi=wmi, min_year=1998, invalid_rate=0.0):
            ours = read_vin(number, this_year=2040)
            same = ours.check_holds and ours.years == (ultravin.decode(number)["model_year"],)
            found.append(0.0 if same else float("inf"))
    return found


def _sizes() -> list[float]:
    """Plain tyre sizes against a tyre-code package; one that differs is infinitely far."""
    from tire_codes import TireCodeParser

    from driveout.wear import read_tyre_size

    found = []
    for width in range(165, 256, 10):
        for aspect, rim in ((45, 17), (55, 16), (65, 15)):
            code = f"{width}/{aspect}R{rim} 91V"
            ours, theirs = read_tyre_size(code), TireCodeParser(code).parse()
            same = (ours.width_mm, ours.aspect_percent, ours.rim_in, ours.speed_symbol) == (
                theirs.WIDTH,
                theirs.ASPECT_RATIO,
                theirs.WHEEL_DIAMETER,
                theirs.SPEED_RATING,
            )
            found.append(0.0 if same else float("inf"))
    return found


def _times(rounds: int) -> list[float]:
    """Milliseconds from the posted reading to the verdict saved, outlook renewed, in a record with 40 readings."""
    from driveout.app import ready_store
    from driveout.cars.actions import add_car
    from driveout.wear import actions
    from driveout.wear.topics import CORNERS

    with tempfile.TemporaryDirectory() as folder:
        store = ready_store(Path(folder))
        with store.writing() as tx:
            car = add_car(
                tx,
                name="Tarnwick Linnet 1.4",
                currency="USD",
                at=store.now(),
                made_year=2013,
                mileage_km=141_000,
            ).id
        rng = np.random.default_rng(5)
        taken = []
        for number in range(rounds):
            corner = CORNERS[number % 4]
            entries = {
                "pad_inner": f"{rng.uniform(2, 6):.1f} mm",
                "pad_outer": f"{rng.uniform(2, 6):.1f} mm",
                "disc": "22.11 22.12 22.10 22.11",
                "tread_inner": "5",
                "tread_middle": "5",
                "tread_outer": "5",
                "date_code": "3518",
                "renewed": "yes",
            }
            start = time.perf_counter()
            with store.writing() as tx:
                actions.record_readings(tx, car, "corner", {corner: entries}, at=store.now())
            taken.append(1000 * (time.perf_counter() - start))
        store.close()
    return taken[4:]


def run(argv: list[str]) -> dict[str, Any]:
    """Check every printed value and other library, then time readings; ``argv`` may name the rounds."""
    rounds = int(argv[0]) if argv else 44
    printed = [_deviation(case) for case in _cases()]
    others = _libraries()
    taken = _times(rounds)
    return {
        "checked": len(printed) + len(others),
        "printed": len(printed),
        "other_libraries": len(others),
        "worst": round(max(max(printed), max(others)), 4),
        "p95_ms": round(float(np.percentile(taken, 95)), 1),
        "median_ms": round(float(np.median(taken)), 1),
        "readings": len(taken),
    }
