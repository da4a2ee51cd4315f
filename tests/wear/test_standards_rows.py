"""Every row of the standards that readings lean on is shipped, computed and checked, or left out in words.

The list was drawn up from the standards themselves (49 CFR 393, 565, 570, 575.104, 580; 16 CFR 455; RCW 46.37;
COMAR 11.22.04; the UK manual; EU 2014/45 and 89/459; makers' texts; ISO 2808, 2813, 6344; FMVSS 116; BCI; SAE J537),
value by value as printed there. It holds in both directions: a shipped limit that no row names fails too.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from pathlib import Path

import pytest

from driveout.wear import shipped_limits
from driveout.wear.steering import lash_limits
from driveout.wear.trouble_codes import known_codes

ROOT = Path(__file__).parents[2]

# Row -> limits as printed, by key.
SHIPPED: dict[str, dict[str, str]] = {
    "steering lash": {
        "lash-us": "2.00 in",
        "lash-us-heavy-manual": "2 in on a 16 in wheel",
        "lash-us-heavy-power": "4 1/4 in on a 16 in wheel",
        "lash-us-ut": "4 1/2 in on a 16 in wheel",
    },
    "linkage play": {"play-us": "1/4 in", "play-us-heavy": "1/2 in"},
    "toe": {"toe-us": "1.5 times"},
    "pedal reserve": {"pedal-us": "80 %", "pedal-gb": "100 %"},
    "friction material, riveted": {"lining-riveted-wa": "1/32 in"},
    "friction material, bonded": {
        "lining-wa": "1/32 in",
        "lining-us-model": "1/32 in",
        "lining-us-heavy": "1/16 in",
        "lining-gb": "1.5 mm",
        "lining-practice": "3 mm",
        "lining-pair": "2 mm",
    },
    "hoses and pipes": {"pipe-gb": "0.25 mm"},
    "roller test": {"balance-us-model": "20 %", "balance-gb": "30 %", "balance-eu-dangerous": "50 %"},
    "road stop": {"stop-us-model": "25 ft"},
    "brake efficiency": {
        "efficiency-gb": "58 %",
        "efficiency-eu-new": "58 %",
        "efficiency-eu-old": "50 %",
        "efficiency-park": "16 %",
    },
    "tread": {
        "tread-us-md": "2/32 in",
        "tread-us-model": "2/32 in",
        "tread-eu": "1.6 mm",
        "tread-gb": "1.6 mm",
        "tread-us-steer": "4/32 in",
        "tread-practice": "3 mm",
    },
    "rim runout": {"rim-us": "1/8 in", "rim-makers": "1.2 mm"},
    "disc thickness variation": {
        "dtv-strict": "0.010 mm",
        "dtv-013": "0.013 mm",
        "dtv-warn": "0.015 mm",
        "dtv-025": "0.025 mm",
        "dtv-fail": "0.03 mm",
    },
    "disc runout": {"runout-strict": "0.03 mm", "runout-wide": "0.06 mm"},
    "scoring": {"scoring-strict": "0.40 mm", "scoring-wide": "1.5 mm"},
    "all-wheel match": {
        "match-circumference": "1/4 in",
        "match-circumference-2": "40 mm",
        "match-tread": "2/32 in",
        "match-tread-3": "3/32 in",
    },
    "tyre diameter": {"diameter": "3 %"},
    "tyre age": {"age-inspect": "6 years", "age-most": "10 years"},
    "paint film": {"film-repaint": "200 um", "film-factory": "180 um", "film-thin": "80 um"},
    "clear removal": {
        "clear-default": "8 um",
        "clear-12": "12 um",
        "clear-75": "7.5 um",
        "clear-third": "15 um",
        "clear-uv": "6 um",
    },
    "glycol share": {"glycol-warn": "60 %", "glycol-most": "70 %"},
    "brake fluid water": {"moisture": "3.7 %", "moisture-practice": "3 %"},
    "compression": {
        "compression-75": "0.75",
        "compression-70": "0.70",
        "compression-90": "0.90",
        "compression-least": "100 psi",
    },
    "leak-down": {"leak-good": "20 %", "leak-fault": "30 %", "leak-aircraft": "25 %"},
    "oil and cooling pressure": {"oil-idle": "5 psi", "cooling-drop": "0.1 bar"},
    "rest voltage": {"rest-half": "12.24 V", "rest-flat": "11.89 V", "rest-half-2": "12.2 V"},
    "cranking and charging": {
        "crank": "9.6 V",
        "cca-j537": "7.2 V",
        "charge-least": "13.5 V",
        "charge-most": "14.8 V",
    },
    "current asleep": {"sleep": "50 mA"},
}
# Row -> what computes it, held to printed values in tests/published, and how many at least.
COMPUTED: dict[str, tuple[str, int]] = {
    "steering lash, rows by wheel": ("tests.published.calls_wear:lash_inches", 4),
    "pedal reserve, worked": ("tests.published.calls_wear:pedal", 2),
    "road stop, deceleration": ("tests.published.calls_wear:stop", 1),
    "inch fractions in millimetres": ("tests.published.calls_wear:limit_value", 10),
    "VIN check digit, Table V": ("driveout.cars.vin:check_digit", 1),
    "VIN, others": ("driveout.cars:read_vin", 1),
    "VIN year letters, position 7": ("tests.published.calls_wear:years", 1),
    "odometer disclosure": ("tests.published.calls_wear:exempt", 5),
    "odometer disclosure, gross weight": ("tests.published.calls_wear:heavy_exempt", 1),
    "window form rule": ("tests.published.calls_wear:federal", 2),
    "pad projection and its error": ("tests.published.calls_wear:pad", 2),
    "load index": ("tests.published.calls_wear:load_kg", 10),
    "speed symbols": ("tests.published.calls_wear:speed", 13),
    "tyre height": ("tests.published.calls_wear:tyre", 5),
    "tyre height, change": ("tests.published.calls_wear:diameter_change", 1),
    "all-wheel rules against each other": ("tests.published.calls_wear:circumference_in", 2),
    "tyre date": ("tests.published.calls_wear:made", 1),
    "paint layers": ("tests.published.calls_wear:film", 1),
    "clear from the total": ("tests.published.calls_wear:clear", 4),
    "strike-through": ("tests.published.calls_wear:strike", 12),
    "removal, before and after": ("tests.published.calls_wear:removal_sd", 3),
    "grains": ("tests.published.calls_wear:grit_d50_um", 6),
    "scratch depth": ("tests.published.calls_wear:scratch_depth_um", 3),
    "gloss": ("tests.published.calls_wear:gloss_left", 4),
    "freezing by volume and mass": ("tests.published.calls_wear:freezing_c", 16),
    "coolant to replace": ("tests.published.calls_wear:litres_to_replace", 2),
    "drain and refill": ("tests.published.calls_wear:refills", 3),
    "brake fluid boiling": ("tests.published.calls_wear:least_boiling_c", 8),
    "compression rows": ("tests.published.calls_wear:cylinders", 3),
    "altitude table": ("tests.published.calls_wear:altitude", 8),
    "standard atmosphere": ("tests.published.calls_wear:atmosphere", 2),
    "rest voltage table": ("tests.published.calls_wear:rest_voltage", 5),
    "rest voltage, second table": ("tests.published.calls_wear:second_table", 5),
    "gravity": ("tests.published.calls_wear:gravity_of", 5),
    "gravity to volts": ("tests.published.calls_wear:voltage_from_gravity", 4),
    "cranking norms": ("tests.published.calls_wear:cranking_norm", 8),
    "days asleep": ("tests.published.calls_wear:days_until", 2),
}
# Row -> where it is said that the row has no number here, or is left out, and the words that say so.
IN_WORDS: dict[str, tuple[str, str]] = {
    "bolting": ("docs/method/brakes.md", "Bolting (section 3)"),
    "jacking, hoists, restraints, spraying": ("docs/method/brakes.md", "belong to the workshop"),
    "Subpart B pedal at 50 lbf": ("docs/method/brakes.md", "50 lbf"),
    "new pads 9 to 13 mm": ("docs/method/brakes.md", "9 to 13 mm"),
    "machine-to thickness": ("docs/method/brakes.md", "figure to machine to"),
    "suspension, a list without numbers": ("docs/method/steering.md", "list without numbers"),
    "wheel nuts": ("docs/method/steering.md", "Nuts: all there and tight"),
    "load formula": ("docs/method/tyres.md", "Formula 45 x 10^(index/80) is not used"),
    "rolling circumference": ("docs/method/tyres.md", "rolling circumference"),
    "grading": ("docs/method/tyres.md", "promises no distance"),
    "makers' grades P3000 and P5000": ("docs/method/paint.md", "P3000 and P5000"),
    "nail-catching scratch of 1 um": ("docs/method/paint.md", "implausible and ignored"),
    "printed layer stacks": ("docs/method/paint.md", "do not enter"),
    "oil capacity": ("docs/method/engine-health.md", "Oil capacity"),
    "oil 10 psi per 1000": ("docs/method/engine-health.md", "10 psi per 1000"),
    "V = 6 (SG + 0.845)": ("docs/method/battery.md", "V = 6 (SG + 0.845)"),
    "glass mat": ("docs/method/battery.md", "Glass-mat"),
    "DOT 5": ("docs/method/fluids.md", "Silicone DOT 5"),
    "bounds of the window form rule": ("docs/method/papers.md", "8,500 lb"),
    "number outside North America": ("docs/method/papers.md", "need not pass"),
    "power of the check digit": ("docs/method/papers.md", "8 %"),
    "state rules": ("docs/method/papers.md", "none is guessed"),
}


def test_every_row_with_a_limit_is_shipped_as_printed() -> None:
    shipped = {limit.key: limit.as_published for limit in (*shipped_limits(), *lash_limits(16 * 25.4))}

    for row, limits in SHIPPED.items():
        assert {key: shipped.get(key) for key in limits} == limits, row


def test_no_limit_is_shipped_that_no_row_names() -> None:
    named = {key for limits in SHIPPED.values() for key in limits}
    shipped = {limit.key for limit in (*shipped_limits(), *lash_limits(16 * 25.4))}

    assert shipped - named == set()


def test_every_computed_row_is_held_to_printed_values() -> None:
    cases = Counter(
        case["call"]
        for sheet in ("wear.toml", "cars.toml")
        for case in tomllib.loads((ROOT / "tests" / "published" / sheet).read_text())["case"]
    )

    assert {row: call for row, (call, least) in COMPUTED.items() if cases[call] < least} == {}


@pytest.mark.parametrize("row", IN_WORDS)
def test_a_row_without_a_number_here_is_said_in_words(row: str) -> None:
    page, words = IN_WORDS[row]

    assert words in " ".join((ROOT / page).read_text().split())


def test_the_number_of_codes_told_in_the_docs_is_the_number_shipped() -> None:
    page = (ROOT / "docs/method/engine-health.md").read_text()

    assert f"{len(known_codes())} generic meanings" in page
