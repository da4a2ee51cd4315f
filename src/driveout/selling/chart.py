"""Price against time as a picture: the ask, the take-it price, and the ask if nobody calls."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from driveout.units import Money

WIDTH, HEIGHT = 358, 262
LEFT, RIGHT, TOP, BOTTOM = 52, 8, 40, 34


@dataclass(frozen=True, slots=True)
class ChartStep:
    """One step of the plan as drawn."""

    from_day: int
    to_day: int
    ask: Money
    take_it: Money
    ask_if_quiet: Money


def plan_words(steps: Sequence[ChartStep], fallback: Money) -> str:
    """The picture in words."""
    first, last = steps[0], steps[-1]
    return (
        f"The ask goes from {first.ask.text()} on day 0 to {last.ask.text()} on day {last.from_day}; "
        f"if nobody calls, to {last.ask_if_quiet.text()}. The take-it price goes from {first.take_it.text()} to "
        f"{last.take_it.text()}; the fallback value is {fallback.text()}."
    )


def plan_svg(steps: Sequence[ChartStep], fallback: Money, name: str = "plan") -> str:
    """Draw the plan.

    Lines are told apart by stroke and by their names at the end, not by colour.

    Parameters
    ----------
    steps
        Steps of the plan, at least one.
    fallback
        What the car brings otherwise.
    name
        Unique on the page; ids are made from it.

    Returns
    -------
    str
        SVG markup with title and description.
    """
    prices = [m.minor for s in steps for m in (s.ask, s.take_it, s.ask_if_quiet)] + [fallback.minor]
    low, high = min(prices), max(prices)
    room = max((high - low) * 0.06, 1.0)
    low_edge, high_edge = low - room, high + room
    end = max(steps[-1].to_day, 1)

    def x(day: float) -> float:
        return LEFT + (WIDTH - LEFT - RIGHT) * day / end

    def y(minor: float) -> float:
        return TOP + (HEIGHT - TOP - BOTTOM) * (high_edge - minor) / (high_edge - low_edge)

    def stairs(which: str) -> str:
        points = []
        for step in steps:
            level = y(getattr(step, which).minor)
            points += [f"{x(step.from_day):.1f} {level:.1f}", f"{x(step.to_day):.1f} {level:.1f}"]
        return "M" + "L".join(points)

    out = [
        f'<svg role="img" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" height="{HEIGHT}" '
        f'aria-labelledby="{name}-t {name}-d" xmlns="http://www.w3.org/2000/svg" font-size="13">',
        f'<title id="{name}-t">Price against time</title>',
        f'<desc id="{name}-d">{escape(plan_words(steps, fallback))}</desc>',
        f'<path d="M{LEFT} {TOP}V{HEIGHT - BOTTOM}H{WIDTH - RIGHT}" fill="none" stroke="currentColor"/>',
    ]
    for level in _levels(low, high):
        out.append(
            f'<path d="M{LEFT - 4} {y(level):.1f}H{WIDTH - RIGHT}" stroke="currentColor" stroke-opacity=".2"/>'
        )
        label = f"{Money(level, fallback.currency).major:,.0f}"
        out.append(f'<text x="{LEFT - 7}" y="{y(level) + 4:.1f}" text-anchor="end">{label}</text>')
    stride = max(7, 7 * round(end / 7 / 4))
    for day in range(0, end + 1, stride):
        out.append(f'<text x="{x(day):.1f}" y="{HEIGHT - BOTTOM + 17}" text-anchor="middle">{day}</text>')
    out.append(f'<text x="{WIDTH - RIGHT}" y="{HEIGHT - 2}" text-anchor="end">days from now</text>')
    out.append(
        f'<path d="M{LEFT} {y(fallback.minor):.1f}H{WIDTH - RIGHT}" stroke="currentColor" stroke-width="1" '
        'stroke-dasharray="1 4"/>'
    )
    for which, stroke in (
        ("ask_if_quiet", 'stroke-width="1.5" stroke-dasharray="2 3"'),
        ("take_it", 'stroke-width="2" stroke-dasharray="8 4"'),
        ("ask", 'stroke-width="3"'),
    ):
        out.append(f'<path d="{stairs(which)}" fill="none" stroke="currentColor" {stroke}/>')
    keys = (
        (LEFT, 12, 'stroke-width="3"', "ask"),
        (LEFT + 76, 12, 'stroke-width="2" stroke-dasharray="8 4"', "take-it price"),
        (LEFT, 29, 'stroke-width="1.5" stroke-dasharray="2 3"', "ask if nobody calls"),
        (LEFT + 166, 29, 'stroke-width="1" stroke-dasharray="1 4"', "fallback value"),
    )
    for left, top, stroke, text in keys:
        out.append(f'<path d="M{left} {top - 4}h24" stroke="currentColor" {stroke}/>')
        out.append(f'<text x="{left + 29}" y="{top}">{text}</text>')
    return "".join([*out, "</svg>"])


def _levels(low: int, high: int) -> list[int]:
    """Round amounts between the ends, three to seven of them."""
    span = max(high - low, 1)
    step = 1
    while True:
        for factor in (1, 2, 5):
            if span / (step * factor) <= 6:
                size = step * factor
                first = -(-low // size) * size
                return list(range(first, high + 1, size))
        step *= 10
