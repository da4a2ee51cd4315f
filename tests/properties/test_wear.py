"""What must hold for every reading."""

from __future__ import annotations

import itertools
import json
import math
from datetime import date

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from driveout.cars.odometer import OdometerReading, odometer_series
from driveout.cars.vin import check_digit, vin_suggestions
from driveout.errors import BadEntry, CannotSay, DriveoutError
from driveout.wear import (
    CLOSE,
    FAILS,
    HOLDS,
    OPEN,
    judge,
    judge_file,
    read_quantity,
    read_tyre_size,
    shipped_limits,
)
from driveout.wear.brakes import pad_life
from driveout.wear.compression import altitude_band, compression
from driveout.wear.coolant import freezing_c, share_for
from driveout.wear.limits import QUANTITIES, limits_of
from driveout.wear.paint import panel_likelihood, strike_through
from driveout.wear.paint_plan import Removal, calibrated
from driveout.wear.topics import TOPICS

many = settings(max_examples=60, deadline=None)
ORDER = [HOLDS, CLOSE, FAILS]


@many
@given(
    st.sampled_from(sorted(QUANTITIES)),
    st.floats(0, 500),
    st.floats(0, 500),
    st.sampled_from(["", "us", "us-wa", "eu", "gb"]),
)
def test_a_worse_reading_never_gets_a_better_verdict(
    quantity: str, one: float, other: float, place: str
) -> None:
    known = limits_of(quantity, shipped_limits())
    sides = {limit.side for limit in known if limit.verified and limit.decides}
    assume(len(sides) == 1)
    good, bad = sorted((one, other), reverse=sides == {"least"})
    better, worse = (
        judge("x", good, "", known, place=place).outcome,
        judge("x", bad, "", known, place=place).outcome,
    )

    if OPEN in (better, worse):
        assert better == worse == OPEN
    else:
        assert ORDER.index(better) <= ORDER.index(worse)


@many
@given(st.sampled_from(sorted(QUANTITIES)), st.floats(0, 500), st.sampled_from(["", "us", "eu", "gb"]))
def test_no_recalled_limit_and_no_rule_of_another_vehicle_ever_decides(
    quantity: str, value: float, place: str
) -> None:
    decided = judge("x", value, "", limits_of(quantity, shipped_limits()), place=place).decided_by

    assert decided is None or (decided.how_known != "recalled" and decided.decides)


@many
@given(st.floats(2, 20), st.floats(0.3, 15), st.floats(0, 5), st.floats(100, 200_000), st.floats(0.01, 1))
def test_life_scales_with_distance_and_is_never_negative(
    before: float, lost: float, limit: float, km: float, sd: float
) -> None:
    assume(lost < before)
    try:
        one, two = (pad_life(factor * km, before, before - lost, limit, sd) for factor in (1, 2))
    except CannotSay:
        assume(False)
        return
    assert one.km >= 0
    assert one.sd_km >= 0
    assert math.isclose(two.km, 2 * one.km, rel_tol=1e-9)
    assert math.isclose(two.sd_km, 2 * one.sd_km, rel_tol=1e-9)


@many
@given(st.floats(70, 180), st.floats(0, 40), st.floats(0, 40), st.floats(0, 30))
def test_taking_off_more_from_a_thinner_film_risks_more(
    total: float, removed: float, more: float, thinner: float
) -> None:
    base = strike_through(total, removed)

    assert 0 <= base <= 1
    if removed > 5 and base < 0.4:
        assert strike_through(total, removed + more) >= base - 1e-12
    if total - thinner > 40:
        assert strike_through(total - thinner, removed) >= base - 1e-12


@many
@given(st.floats(20, 3000), st.floats(60, 180))
def test_chances_of_a_panel_add_to_one(panel: float, car: float) -> None:
    assert math.isclose(sum(panel_likelihood(panel, car).values()), 1.0, rel_tol=1e-9)


@many
@given(st.lists(st.tuples(st.floats(0, 20), st.floats(0.3, 3), st.integers(1, 8)), max_size=5))
def test_own_readings_only_ever_sharpen(measured: list[tuple[float, float, int]]) -> None:
    prior = Removal(2.75, 1.0)
    own = calibrated(prior, [(Removal(mean, sd, 3), passes) for mean, sd, passes in measured])

    assert own.sd_um <= prior.sd_um + 1e-12
    means = [prior.mean_um, *(mean / passes for mean, _, passes in measured)]
    assert min(means) - 1e-9 <= own.mean_um <= max(means) + 1e-9


@many
@given(st.floats(0, 60), st.sampled_from(["ethylene", "propylene"]), st.sampled_from(["volume", "mass"]))
def test_more_glycol_up_to_sixty_per_cent_freezes_later_and_reads_back(
    percent: float, glycol: str, by: str
) -> None:
    freeze = freezing_c(percent, glycol=glycol, by=by)

    assert freeze <= 0
    assert freezing_c(min(60, percent + 1), glycol=glycol, by=by) <= freeze
    assert share_for(freeze, glycol=glycol, by=by) == pytest.approx(percent, abs=1e-6)


@many
@given(st.floats(-400, 5900))
def test_pressure_falls_faster_than_density_going_up(metres: float) -> None:
    band, higher = altitude_band(metres), altitude_band(metres + 100)

    assert higher.pressure < band.pressure
    if metres > 1:
        assert band.pressure < band.density < 1


@many
@given(st.lists(st.floats(300, 2000), min_size=2, max_size=8), st.floats(0.5, 2))
def test_the_ratio_of_cylinders_needs_no_gauge_correction(dry: list[float], factor: float) -> None:
    one, other = (compression([f * value for value in dry], shipped_limits()).reading for f in (1.0, factor))

    assert one == pytest.approx(other)


WIDTHS = st.integers(10, 39).map(lambda n: 10 * n + 5)


@many
@given(
    WIDTHS,
    st.integers(5, 16).map(lambda n: 5 * n),
    st.integers(12, 22),
    st.integers(60, 119),
    st.sampled_from("QRSTHVWY"),
    st.booleans(),
)
def test_every_possible_size_is_read_and_written_back(
    width: int, aspect: int, rim: int, load: int, speed: str, extra: bool
) -> None:
    text = f"{width}/{aspect}R{rim} {load}{speed}" + (" XL" if extra else "")
    diameter = 25.4 * rim + 2 * width * aspect / 100
    if not 400 <= diameter <= 1100:
        with pytest.raises(BadEntry, match="would stand"):
            read_tyre_size(text)
        return
    size = read_tyre_size(text)
    assert size.text() == text
    # nominal diameter: rim in inches and twice the side wall
    assert size.diameter_mm == pytest.approx(diameter)


@many
@given(st.text(max_size=30))
def test_any_text_is_read_or_refused_in_words(text: str) -> None:
    said: list[str] = []
    for read in (
        lambda: read_tyre_size(text),
        lambda: read_quantity(text, "mm", least=0, most=20, ask_below=1),
    ):
        try:
            read()
        except DriveoutError as error:
            said.append(error.message)
    assert all(said)


@many
@given(st.floats(0.01, 19).map(lambda value: round(value, 2)))
def test_millimetres_and_inches_of_the_same_length_are_the_same(mm: float) -> None:
    assert read_quantity(f"{mm} mm", "mm") == pytest.approx(mm)
    assert read_quantity(f"{mm / 25.4:.8f} in", "mm") == pytest.approx(mm, abs=1e-6)


@many
@given(
    st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17),
    st.integers(0, 16).filter(lambda place: place != 8),
)
def test_a_one_mistyped_as_i_is_always_suggested_back(text: str, place: int) -> None:
    plain = text[:place] + "1" + text[place + 1 :]
    number = plain[:8] + check_digit(plain) + plain[9:]

    assert vin_suggestions(number[:place] + "I" + number[place + 1 :]) == (number,)


@many
@given(st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 300_000)), min_size=2, max_size=10))
def test_a_series_is_doubtful_whenever_it_falls(rows: list[tuple[int, int]]) -> None:
    readings = [OdometerReading(date.fromordinal(735_000 + day), km) for day, km in rows]
    series = odometer_series(readings, date(2030, 1, 1))
    by_day = sorted(rows)
    falls = any(b[1] < a[1] for a, b in itertools.pairwise(by_day))

    assert bool(series.falls) == falls
    assert not falls or series.doubtful


WORDS = st.sampled_from(
    [
        *TOPICS,
        *QUANTITIES,
        *(f.name for t in TOPICS.values() for f in t.fields),
        *TOPICS["corner"].spots,
        "roof",
        "on",
    ]
)
SCALARS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-10, 10**6),
    st.floats(allow_nan=False),
    st.text(max_size=12),
    WORDS,
    st.sampled_from(
        ["4/32", "12 mm", "150 psi", "2026-05-04", "3518", "195/65R15 91H", "P0301", "yes", "no"]
    ),
)
ROWS = st.dictionaries(
    WORDS | st.sampled_from(["topic", "spot", "day", "km", "least", "most", "origin", "quantity"]),
    SCALARS | st.lists(SCALARS, max_size=4),
    max_size=6,
)


@many
@given(
    st.lists(ROWS | SCALARS, max_size=3),
    st.lists(st.tuples(st.sampled_from(sorted(TOPICS)), ROWS), max_size=4),
    ROWS | SCALARS,
)
def test_any_file_is_judged_or_refused_in_words(limits: list, readings: list, car: object) -> None:
    rows = [{**row, "topic": topic} for topic, row in readings]
    text = json.dumps({"schema": "driveout-limits/1", "limits": limits, "readings": rows, "car": car})
    said: list[str] = []
    try:
        said += [verdict.words for _, _, verdict in judge_file(text, "any.json", date(2026, 10, 1)).verdicts]
    except DriveoutError as error:
        said.append(error.message)
    assert all(said)
