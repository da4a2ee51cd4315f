"""Rates and intervals of the comparison, held against another bootstrap."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from driveout.errors import BadEntry
from driveout.simulate.compare import Totals, compared, one_owner, result_table, score
from driveout.simulate.ways import WAYS
from driveout.simulate.world import World


def owners(count: int, seed: int = 1) -> list[dict[str, Totals]]:
    rng = np.random.default_rng(seed)
    found = []
    for _ in range(count):
        luck = rng.normal(0, 3000)
        hours = rng.uniform(400, 900, 2)
        found.append(
            {
                "ours": Totals(9000 + luck + rng.normal(0, 800), hours[0], 600, 12, 1, 20),
                "theirs": Totals(7000 + luck + rng.normal(0, 800), hours[1], 700, 12, 3, 15),
            }
        )
    return found


def test_the_rate_is_a_ratio_of_sums_not_a_mean_of_ratios() -> None:
    rows = [{"ours": Totals(1000, 5, 10, 1, 0, 1)}, {"ours": Totals(1000, 45, 10, 1, 0, 1)}]

    (row,) = compared(rows, "ours")

    # 1000 in 5 h or in 45 h: 40 an hour over a long life, not 111
    assert row.rates["per_hour"].value == pytest.approx(40.0)


def test_the_paired_interval_is_that_of_an_independent_bootstrap() -> None:
    rows = owners(60)
    ours = np.array([(r["ours"].profit, r["ours"].hours) for r in rows])
    theirs = np.array([(r["theirs"].profit, r["theirs"].hours) for r in rows])

    def gain(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray, axis: int = -1) -> np.ndarray:
        return np.asarray(a.sum(axis) / b.sum(axis) - c.sum(axis) / d.sum(axis))

    other = stats.bootstrap(
        (ours[:, 0], ours[:, 1], theirs[:, 0], theirs[:, 1]), gain, paired=True, vectorized=True,
        n_resamples=9999, method="percentile", rng=np.random.default_rng(8),
    ).confidence_interval  # fmt: skip

    row = next(r for r in compared(rows, "ours") if r.key == "theirs")

    # 4000 resamples: the ends wander by about 2 to 3 % of the width
    width = other.high - other.low
    assert row.gains["per_hour"].low == pytest.approx(other.low, abs=0.06 * width)
    assert row.gains["per_hour"].high == pytest.approx(other.high, abs=0.06 * width)


def test_pairing_takes_out_what_all_ways_have_in_common() -> None:
    rows = owners(60)

    row = next(r for r in compared(rows, "ours") if r.key == "theirs")
    gain, rate = row.gains["per_day"], row.rates["per_day"]

    assert gain.high - gain.low < 0.5 * (rate.high - rate.low)


def test_the_reference_gains_nothing_over_itself() -> None:
    row = next(r for r in compared(owners(10), "ours") if r.key == "ours")

    assert (row.gains["per_hour"].low, row.gains["per_hour"].high) == (0.0, 0.0)


def test_one_owner_is_no_interval() -> None:
    with pytest.raises(BadEntry, match="two owners"):
        compared(owners(1), "ours")
    with pytest.raises(BadEntry, match="was not played"):
        compared(owners(2), "nobody")


def test_a_way_that_loses_money_is_never_the_best_constant() -> None:
    assert score([Totals(-5, 10, 10, 1, 1, 1)]) == -np.inf
    assert score([Totals(20, 10, 10, 1, 0, 1)]) > score([Totals(10, 10, 10, 1, 0, 1)])


def test_a_whole_comparison_repeats_and_reads_well() -> None:
    ways = {key: WAYS[key] for key in ("half-of-resale", "fixed-margin")}
    rows = [one_owner(World(), ways, 3, owner, 2) for owner in range(2)]

    data, lines = result_table(compared(rows, "half-of-resale"), 2, 2, 3, "ordinary")

    assert rows == [one_owner(World(), ways, 3, owner, 2) for owner in range(2)]
    assert data["currency"] == "USD"
    assert lines[0].startswith("2 invented owners with 2 cars each")
    assert any(line.startswith("driveout over fixed-margin") for line in lines)
