"""The comparison drawn: one line a way, with a band that holds the rate in 95 of 100 draws of owners."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from driveout.simulate.compare import Result

WIDTH, ROW, LEFT, RIGHT = 640, 34, 150, 20


def rates_svg(found: Sequence[Result], measure: str = "per_hour", unit: str = "USD an own hour") -> str:
    """A drawing of the rates with their bands; it says its numbers in words as well.

    Parameters
    ----------
    found
        The ways.
    measure
        ``per_hour`` or ``per_day``.
    unit
        What stands under the axis.

    Returns
    -------
    str
        SVG without style or script of its own.
    """
    bands = [row.rates[measure] for row in found]
    low = min(0.0, *(band.low for band in bands))
    high = max(1.0, *(band.high for band in bands))
    height = ROW * len(found) + 44

    def x(value: float) -> float:
        return LEFT + (value - low) / (high - low) * (WIDTH - LEFT - RIGHT)

    words = "; ".join(
        f"{row.key} {band.value:.1f}, from {band.low:.1f} to {band.high:.1f}"
        for row, band in zip(found, bands, strict=True)
    )
    parts = [
        f'<svg viewBox="0 0 {WIDTH} {height}" width="100%" role="img" aria-label="{escape(f"{unit}: {words}", quote=True)}">'
    ]
    bottom = ROW * len(found) + 8
    parts.append(
        f'<line x1="{x(0):.1f}" y1="4" x2="{x(0):.1f}" y2="{bottom}" stroke="currentColor" stroke-width="1"/>'
    )
    for place, (row, band) in enumerate(zip(found, bands, strict=True)):
        y = ROW * place + 22
        parts.append(
            f'<text x="4" y="{y + 5}" font-size="15" fill="currentColor">{escape(row.key)}</text>'
            f'<line x1="{x(band.low):.1f}" y1="{y}" x2="{x(band.high):.1f}" y2="{y}" stroke="currentColor" '
            f'stroke-width="{8 if place == 0 else 4}" stroke-opacity="0.45"/>'
            f'<circle cx="{x(band.value):.1f}" cy="{y}" r="6" fill="currentColor"/>'
        )
    for share in range(5):
        value = low + share * (high - low) / 4
        parts.append(
            f'<text x="{x(value):.1f}" y="{bottom + 16}" font-size="13" text-anchor="middle" '
            f'fill="currentColor">{value:.0f}</text>'
        )
    parts.append(
        f'<text x="{(LEFT + WIDTH) / 2:.0f}" y="{bottom + 33}" font-size="13" text-anchor="middle" '
        f'fill="currentColor">{escape(unit)}</text></svg>'
    )
    return "".join(parts)
