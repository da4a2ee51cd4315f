"""Adaptors between the sheet `wear.toml` and the functions of `driveout.wear` and the papers of a car."""

from __future__ import annotations

from datetime import date
from typing import Any

from driveout.cars.papers import SellerEvent, disclosure_duty, federal_rule, seller_count
from driveout.cars.vin import read_vin, vin_suggestions
from driveout.wear import read_tyre_size, shipped_limits
from driveout.wear.battery import (
    along,
    battery_data,
    cranking_norm,
    days_until,
    rest_voltage,
    voltage_from_gravity,
)
from driveout.wear.brake_fluid import least_boiling_c, may_mix
from driveout.wear.brakes import pad_life, pedal_travel, stopping_deceleration
from driveout.wear.compression import altitude_band, compression, compression_ratio, leak_percent
from driveout.wear.coolant import after_refills, freezing_c, litres_to_replace
from driveout.wear.limits import limits_of
from driveout.wear.paint import clear_coat, factory_film, strike_through
from driveout.wear.paint_plan import (
    gloss_left,
    grit_d50_um,
    measured_removal,
    sanding_removal,
    scratch_depth_um,
)
from driveout.wear.steering import lash_limit_mm, lash_table
from driveout.wear.tyre_size import load_table, speed_table
from driveout.wear.tyres import age_years, circumference_from_tread_mm, made_in_week_of
from driveout.wear.verdict import by_limit

INCH = 25.4
FOOT = 0.3048


def lash_inches(wheel_in: float) -> float:
    return lash_limit_mm(wheel_in * INCH) / INCH


def lash_row(wheel_in: float) -> float:
    return lash_table()[wheel_in]


def limit_value(key: str) -> float:
    return next(limit.value for limit in shipped_limits() if limit.key == key)


def limit_says(key: str, reading: float) -> str:
    return by_limit(next(limit for limit in shipped_limits() if limit.key == key), reading)


def pedal(free: float, pressed: float) -> dict[str, Any]:
    travel = pedal_travel(free, pressed)
    return {"travel": travel, "says": limit_says("pedal-us", travel)}


def stop(mph: float, feet: float) -> dict[str, float]:
    metres = stopping_deceleration(mph, feet)
    return {"ms2": metres, "g": metres / 9.80665}


def pad(km: float, before: float, now: float, limit: float, sd: float) -> dict[str, float]:
    life = pad_life(km, before, now, limit, sd)
    return {"km": life.km, "sd": life.sd_km}


def load_kg(index: int) -> float:
    return load_table()[index]


def speed(symbol: str) -> int:
    return speed_table()[symbol]


def tyre(text: str) -> dict[str, Any]:
    size = read_tyre_size(text)
    return {
        "diameter": size.diameter_mm,
        "text": size.text(),
        "load": size.load_index,
        "dual": size.load_index_dual,
        "speed": size.speed_symbol,
        "xl": size.extra_load,
        "construction": size.construction,
        "service": size.service,
        "width": size.width_mm,
        "aspect": size.aspect_percent,
        "rim": size.rim_in,
    }


def diameter_change(fitted: str, specified: str) -> float:
    return 100 * (read_tyre_size(fitted).diameter_mm / read_tyre_size(specified).diameter_mm - 1)


def circumference_in(tread_32nds: float) -> float:
    return circumference_from_tread_mm(tread_32nds / 32 * INCH) / INCH


def tread_32nds(circumference_inches: float) -> float:
    """Tread whose loss makes that difference of circumference, by bisection on the function itself."""
    low, high = 0.0, 10.0
    for _ in range(80):
        middle = (low + high) / 2
        low, high = (middle, high) if circumference_in(middle) < circumference_inches else (low, middle)
    return low


def made(code: str, on: str) -> dict[str, Any]:
    monday = made_in_week_of(code, date.fromisoformat(on))
    return {"week_of": monday.isoformat(), "age": age_years(monday, date.fromisoformat(on))}


def film() -> dict[str, float]:
    model = factory_film()
    clear = clear_coat(112.0)
    share = 1 - (clear.sd_um / model.clear_sd) ** 2
    return {"mean": model.total_mean, "sd": model.total_sd, "share": share, "clear_sd": clear.sd_um}


def clear(total: float) -> float:
    return clear_coat(total).mean_um


def strike(total: float, removed: float, least: float = 0.0) -> float:
    return strike_through(total, removed, least_left_um=least)


def removal_sd(presses: int) -> float:
    return measured_removal([110.0] * presses, [105.0] * presses).sd_um


def sanding(grits: str, allowance: float = 1.0) -> float:
    return sum(um for _, um in sanding_removal(0.0, grits.split(), allowance))


def altitude(feet: float) -> dict[str, float]:
    band = altitude_band(feet * FOOT)
    return {"density": band.density, "pressure": band.pressure}


def atmosphere(metres: float) -> dict[str, float]:
    band = altitude_band(metres)
    return {"pascal": band.pressure * 101325.0, "density": band.density * 1.225}


def cylinders(psi: list[float]) -> dict[str, Any]:
    kpa = [value * 6.894757293168361 for value in psi]
    known = {limit.key: limit for limit in limits_of("compression_ratio", shipped_limits())}
    ratio = compression_ratio(kpa)
    return {
        "ratio": ratio,
        "by75": by_limit(known["compression-75"], ratio),
        "by70": by_limit(known["compression-70"], ratio),
        "outcome": compression(kpa, shipped_limits()).outcome,
    }


def refills(system: float, now: float, drained: float, added: float, times: int) -> tuple[float, ...]:
    return after_refills(system, now, drained, added, times)


def mixes(one: str, other: str) -> bool:
    return may_mix(one, other)[0]


def gravity_of(charge: float) -> float:
    data = battery_data()["bci"]
    return along(charge, list(reversed(data["charge_percent"])), list(reversed(data["gravity"])))


def second_table(charge: float) -> float:
    data = battery_data()["second"]
    return along(charge, list(reversed(data["charge_percent"])), list(reversed(data["rest_v"])))


def exempt(model_year: int, transfer_year: int) -> bool:
    return not disclosure_duty(model_year, transfer_year).owed


def heavy_exempt(pounds: float) -> bool:
    return not disclosure_duty(2020, 2026, gross_weight_lb=pounds).owed


def federal(sold: int) -> bool:
    """Whether a car offered after so many sold in the last year makes a dealer."""
    events = [SellerEvent(date(2026, 1, n + 1), "sold", str(n)) for n in range(sold)]
    events.append(SellerEvent(date(2026, 6, 1), "offered", "the next one"))
    return seller_count(events, federal_rule(), date(2026, 6, 1)).counted >= federal_rule().stop_at


def years(vin: str, light: bool = True) -> str:
    return " ".join(str(year) for year in read_vin(vin, this_year=2026, light_vehicle=light).years)


def suggested(text: str) -> str:
    return vin_suggestions(text)[0]


__all__ = [
    "cranking_norm",
    "days_until",
    "freezing_c",
    "gloss_left",
    "grit_d50_um",
    "leak_percent",
    "least_boiling_c",
    "litres_to_replace",
    "rest_voltage",
    "scratch_depth_um",
    "voltage_from_gravity",
]
