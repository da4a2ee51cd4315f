import math

import pytest

from driveout.errors import BadEntry
from driveout.uncertain import crossing


@pytest.mark.parametrize(
    ("gap", "low", "high", "place"),
    [
        (lambda x: x * x - 2.0, 0.0, 2.0, math.sqrt(2.0)),
        (lambda x: math.exp(x) - 5.0, 0.0, 10.0, math.log(5.0)),
        (lambda x: math.tanh(50 * (x - 0.3)), 0.0, 1.0, 0.3),
        (lambda x: 2.0 - x, 0.0, 1e9, 2.0),
        (lambda x: x - 1.0, 1.0, 3.0, 1.0),
        (lambda x: x - 3.0, 1.0, 3.0, 3.0),
    ],
)
def test_the_crossing_is_found_to_the_last_digits(gap, low: float, high: float, place: float) -> None:  # type: ignore[no-untyped-def]
    assert crossing(gap, low, high) == pytest.approx(place, rel=1e-12)


def test_a_function_that_does_not_change_sign_is_refused() -> None:
    with pytest.raises(BadEntry, match="No crossing lies between"):
        crossing(lambda x: x * x + 1.0, -1.0, 1.0)


def test_a_tolerance_stops_early() -> None:
    calls = []

    def gap(x: float) -> float:
        calls.append(x)
        return x**3 - 0.2

    assert crossing(gap, 0.0, 1.0, 1e-3) == pytest.approx(0.2 ** (1 / 3), abs=1e-3)
    assert len(calls) < 25
