import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.uncertain import Bounded, Gamma, Lognormal, Mixture, ThreePoint, fitted, mixed, on_lattice
from driveout.uncertain.laws import Law

amounts = st.floats(1.0, 5000.0)
laws: st.SearchStrategy[Law] = st.one_of(
    st.builds(Lognormal, st.floats(1.0, 7.0), st.floats(0.05, 0.9)),
    st.builds(Gamma, st.floats(0.3, 30.0), st.floats(1.0, 300.0), st.floats(0.0, 100.0)),
    st.builds(
        lambda a, w, r, f: Bounded(a, a + w, r, f), amounts, amounts, st.floats(0.5, 8), st.floats(0.5, 8)
    ),
)


@st.composite
def right_leaning(draw: st.DrawFn) -> ThreePoint:
    low = draw(st.floats(0.0, 2000.0))
    width = draw(st.floats(1.0, 3000.0))
    return ThreePoint(low, low + draw(st.floats(0.02, 0.45)) * width, low + width)


@settings(max_examples=60, deadline=None)
@given(law=laws, parts=st.integers(20, 400))
def test_putting_a_law_on_a_grid_keeps_its_mean(law: Law, parts: int) -> None:
    grid = on_lattice(law, (law.quantile(0.99) - law.least) / parts)

    assert grid.mean == pytest.approx(law.mean, rel=1e-8)
    assert grid.pmf.sum() == pytest.approx(1.0)


@settings(max_examples=60, deadline=None)
@given(one=laws, other=laws)
def test_adding_independent_amounts_adds_means_and_variances(one: Law, other: Law) -> None:
    step = max(one.quantile(0.999), other.quantile(0.999)) / 200
    a, b = on_lattice(one, step), on_lattice(other, step)
    both = a.plus(b)

    assert both.mean == pytest.approx(a.mean + b.mean, rel=1e-9)
    assert both.variance == pytest.approx(a.variance + b.variance, rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(law=laws, share=st.floats(0.01, 0.99))
def test_share_and_quantile_undo_each_other(law: Law, share: float) -> None:
    assert float(law.cdf(law.quantile(share))) == pytest.approx(share, abs=1e-8)


@settings(max_examples=60, deadline=None)
@given(one=laws, other=laws, weight=st.floats(0.01, 0.99), share=st.floats(0.05, 0.95))
def test_a_mixture_stands_between_its_parts(one: Law, other: Law, weight: float, share: float) -> None:
    mix = Mixture((weight, 1.0 - weight), (one, other))
    ends = sorted([one.quantile(share), other.quantile(share)])

    assert ends[0] - 1e-6 <= mix.quantile(share) <= ends[1] + 1e-6
    assert mix.variance >= min(one.variance, other.variance) - 1e-6


@settings(max_examples=60, deadline=None)
@given(points=right_leaning(), kind=st.sampled_from(["lognormal", "gamma", "bounded"]))
def test_every_fit_meets_its_low_and_high(points: ThreePoint, kind: str) -> None:
    law = fitted(points, kind, None)
    close = 1e-6 * (points.high - points.low) + 1e-9

    assert law.quantile(0.1) == pytest.approx(points.low, abs=close)
    assert law.quantile(0.9) == pytest.approx(points.high, abs=close)


@settings(max_examples=40, deadline=None)
@given(law=laws, bar=st.floats(0.0, 3000.0))
def test_excess_never_falls_short_of_the_mean_less_the_bar(law: Law, bar: float) -> None:
    assert float(law.excess(bar)) >= max(law.mean - bar, 0.0) - 1e-6 * (1 + law.mean)


@settings(max_examples=40, deadline=None)
@given(law=laws, share=st.floats(0.05, 0.95))
def test_the_mean_of_the_worst_part_lies_under_the_border_and_the_mean(law: Law, share: float) -> None:
    grid = on_lattice(law, law.quantile(0.999) / 300)

    assert grid.mean_of_lowest(share) <= min(grid.quantile(share), grid.mean) + 1e-9


@settings(max_examples=40, deadline=None)
@given(one=laws, other=laws, weight=st.floats(0.0, 1.0))
def test_mixing_grids_mixes_means(one: Law, other: Law, weight: float) -> None:
    step = max(one.quantile(0.99), other.quantile(0.99)) / 100
    a, b = on_lattice(one, step), on_lattice(other, step)

    assert mixed([weight, 1 - weight], [a, b]).mean == pytest.approx(weight * a.mean + (1 - weight) * b.mean)
    assert math.isfinite(np.abs(a.spectrum(64)).max())
