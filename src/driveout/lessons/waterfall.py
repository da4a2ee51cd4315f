"""A drawn bridge from the estimated to the actual result; the same numbers stand in the table beside it."""

from __future__ import annotations

from html import escape

from driveout.lessons.variance import Variance
from driveout.units import Money

_WIDTH, _ROW, _SIDE = 360.0, 46.0, 4.0
# Letters of a label that fit on its line beside the amount; the table holds the whole words.
_FITS = 30


def _short(label: str) -> str:
    return label if len(label) <= _FITS else f"{label[: _FITS - 1].rstrip()}…"


def waterfall_svg(result: Variance, most_rows: int = 12) -> str:
    """Draw the bridge.

    Parameters
    ----------
    result
        Estimate against actual.
    most_rows
        Lines drawn, all reasons of a line together; the smaller ones are put together so that the bridge closes.

    Returns
    -------
    str
        An SVG that scales to its place; gains are filled, losses hatched, so colour is not needed.
    """
    by_label: dict[str, int] = {}
    for line in result.lines:
        by_label[line.label] = by_label.get(line.label, 0) + line.effect.minor
    steps = list(by_label.items())
    steps.sort(key=lambda step: -abs(step[1]))
    rest = sum(effect for _, effect in steps[most_rows:])
    steps = steps[:most_rows] + ([("All smaller ones", rest)] if rest else [])
    currency = result.actual.currency
    points = [result.estimated.minor]
    for _, effect in steps:
        points.append(points[-1] + effect)
    low, high = min(0, *points), max(0, *points)
    scale = (_WIDTH - 2 * _SIDE) / ((high - low) or 1)

    def x(minor: int) -> float:
        return _SIDE + (minor - low) * scale

    def bar(row: int, start: int, end: int, label: str, fill: str, amount: Money) -> str:
        left, wide = x(min(start, end)), max(abs(end - start) * scale, 1.5)
        top = row * _ROW
        # Each label stands above its bar, so that no length of it runs out of the drawing.
        return (
            f'<text x="{_SIDE:.0f}" y="{top + 17:.0f}" font-size="14" fill="currentColor">{escape(_short(label))}</text>'
            f'<text x="{_WIDTH - _SIDE:.0f}" y="{top + 17:.0f}" text-anchor="end" font-size="14" fill="currentColor">'
            f"{escape(amount.text())}</text>"
            f'<rect x="{left:.1f}" y="{top + 23:.1f}" width="{wide:.1f}" height="16" fill="{fill}" stroke="currentColor">'
            f"<title>{escape(f'{label} {amount.text()}')}</title></rect>"
        )

    rows = [bar(0, 0, points[0], "Estimated", "none", result.estimated)]
    for i, (label, effect) in enumerate(steps):
        fill = "currentColor" if effect > 0 else "url(#worse)"
        rows.append(bar(i + 1, points[i], points[i + 1], label, fill, Money(effect, currency)))
    rows.append(bar(len(steps) + 1, 0, points[-1], "Actual", "none", result.actual))
    height = _ROW * (len(steps) + 2) + 8
    return (
        f'<svg class="bridge" width="440" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" role="img" aria-label="From the estimated '
        f'{escape(result.estimated.text())} to the actual {escape(result.actual.text())}">'
        '<defs><pattern id="worse" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line x1="0" y1="0" x2="0" y2="6" stroke="currentColor" stroke-width="2"/></pattern></defs>'
        f'<line x1="{x(0):.1f}" y1="0" x2="{x(0):.1f}" y2="{height:.0f}" stroke="currentColor" stroke-dasharray="3 3"/>'
        f"{''.join(rows)}</svg>"
    )
