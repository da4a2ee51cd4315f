"""Prices against distance as a picture: the comparables, and this car with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from driveout.units import Money

WIDTH, HEIGHT = 358, 300
LEFT, RIGHT, TOP, BOTTOM = 56, 12, 68, 40


@dataclass(frozen=True, slots=True)
class Dot:
    """One comparable as drawn."""

    km: float
    price: Money
    is_sold: bool = False
    is_outlier: bool = False


def chart_words(dots: Sequence[Dot], km: float, low: Money, value: Money, high: Money) -> str:
    """The picture in words."""
    prices = sorted(dot.price.minor for dot in dots)
    ends = [Money(minor, value.currency).text() for minor in (prices[0], prices[-1])] if prices else []
    others = (
        f"{len(dots)} comparables from {ends[0]} to {ends[1]}" if dots else "No comparable with a distance"
    )
    return f"{others}. This car at {km:,.0f} km: {low.text()} to {high.text()}, likely {value.text()}."


def price_chart(
    dots: Sequence[Dot], km: float, low: Money, value: Money, high: Money, name: str = "prices"
) -> str:
    """Draw prices against distance.

    Marks are told apart by shape: a ring was asked, a full dot was paid, a cross counts little;
    this car is the upright bar.

    Parameters
    ----------
    dots
        Comparables that give a distance.
    km
        Distance of this car. [km]
    low
        Lower end of its interval.
    value
        Its value.
    high
        Upper end.
    name
        Unique on the page; ids are made from it.

    Returns
    -------
    str
        SVG markup with title and description.
    """
    amounts = [dot.price.minor for dot in dots] + [low.minor, high.minor]
    least, most = min(amounts), max(amounts)
    room = max((most - least) * 0.06, 1.0)
    bottom, top = max(least - room, 0.0), most + room
    distances = [dot.km for dot in dots] + [km]
    near, far = min(distances), max(distances)
    margin = max((far - near) * 0.06, 1000.0)
    near, far = max(near - margin, 0.0), far + margin

    def x(distance: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * (distance - near) / (far - near)

    def y(minor: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (top - minor) / (top - bottom)

    out = [
        f'<svg role="img" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'aria-labelledby="{name}-t {name}-d" xmlns="http://www.w3.org/2000/svg" font-size="13">',
        f'<title id="{name}-t">Prices against distance</title>',
        f'<desc id="{name}-d">{escape(chart_words(dots, km, low, value, high))}</desc>',
        f'<path d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}" fill="none" stroke="currentColor"/>',
    ]
    for level in round_steps(bottom, top):
        out.append(
            f'<path d="M{LEFT - 4} {y(level):.1f}H{WIDTH - RIGHT}" stroke="currentColor" stroke-opacity=".2"/>'
        )
        label = f"{Money(level, value.currency).major:,.0f}"
        out.append(f'<text x="{LEFT - 7}" y="{y(level) + 4:.1f}" text-anchor="end">{label}</text>')
    for thousands in round_steps(near / 1000, far / 1000):
        out.append(
            f'<text x="{x(1000 * thousands):.1f}" y="{HEIGHT - BOTTOM + 16}" text-anchor="middle">{thousands:,}</text>'
        )
    out.append(
        f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 4}" text-anchor="end">thousand km on the clock</text>'
    )
    out.append(f'<text x="4" y="{TOP - 10}">{escape(value.currency)}</text>')
    out += [_mark(dot, x(dot.km), y(dot.price.minor)) for dot in dots]
    here = x(km)
    out.append(
        f'<path d="M{here - 7:.1f} {y(low.minor):.1f}h14m-7 0V{y(high.minor):.1f}m-7 0h14" fill="none" '
        'stroke="currentColor" stroke-width="2.5"/>'
        f'<path d="M{here - 10:.1f} {y(value.minor):.1f}h20" stroke="currentColor" stroke-width="4"/>'
    )
    out += _key(dots)
    return "".join([*out, "</svg>"])


def round_steps(low: float, high: float) -> list[int]:
    """Round whole numbers between two ends, seven at most."""
    span = max(high - low, 1.0)
    step = 1
    while True:
        for factor in (1, 2, 5):
            if span / (step * factor) <= 6:
                size = step * factor
                first = -int(-low // size) * size
                return list(range(first, int(high) + 1, size))
        step *= 10


def _mark(dot: Dot, at: float, up: float) -> str:
    if dot.is_outlier:
        return (
            f'<path d="M{at - 4:.1f} {up - 4:.1f}l8 8m0 -8l-8 8" stroke="currentColor" stroke-width="1.5"/>'
        )
    fill = "currentColor" if dot.is_sold else "none"
    return (
        f'<circle cx="{at:.1f}" cy="{up:.1f}" r="4" fill="{fill}" stroke="currentColor" stroke-width="1.5"/>'
    )


def _key(dots: Sequence[Dot]) -> list[str]:
    bar = (
        '<path d="M6 5h8m-4 0v14m-4 0h8" fill="none" stroke="currentColor" stroke-width="2.5"/>'
        '<path d="M3 12h14" stroke="currentColor" stroke-width="4"/>'
        '<text x="24" y="16">this car: likely, and where 8 of 10 sell</text>'
    )
    zero = Money(0, "USD")
    out, left = [bar], 10
    for shown, dot, words in (
        (any(not d.is_sold and not d.is_outlier for d in dots), Dot(0, zero), "asked"),
        (any(d.is_sold and not d.is_outlier for d in dots), Dot(0, zero, is_sold=True), "paid"),
        (any(d.is_outlier for d in dots), Dot(0, zero, is_outlier=True), "counts little"),
    ):
        if shown:
            out.append(_mark(dot, left, 33) + f'<text x="{left + 14}" y="37">{words}</text>')
            left += 40 + 8 * len(words)
    return out
