"""A drawn bridge from the estimated to the actual result; the same numbers stand in the table beside it."""

from __future__ import annotations

from html import escape

from driveout.lessons.variance import Variance
from driveout.units import Money

_WIDTH, _ROW, _LEFT = 420.0, 32.0, 176.0


def _short(label: str) -> str:
    return label if len(label) <= 23 else f"{label[:22]}…"


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
    scale = (_WIDTH - _LEFT - 10) / ((high - low) or 1)

    def x(minor: int) -> float:
        return _LEFT + (minor - low) * scale

    def bar(row: int, start: int, end: int, label: str, fill: str, words: str) -> str:
        left, wide = x(min(start, end)), max(abs(end - start) * scale, 1.5)
        top = row * _ROW + 4
        return (
            f'<text x="{_LEFT - 8:.1f}" y="{top + 15:.1f}" text-anchor="end" font-size="13" fill="currentColor">'
            f"{escape(label if len(label) <= 27 else label[:26] + '…')}</text>"
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{wide:.1f}" height="20" fill="{fill}" stroke="currentColor">'
            f"<title>{escape(words)}</title></rect>"
        )

    rows = [bar(0, 0, points[0], "Estimated", "none", f"Estimated {result.estimated.text()}")]
    for i, (label, effect) in enumerate(steps):
        fill = "currentColor" if effect > 0 else "url(#worse)"
        words = f"{label} {Money(effect, currency).text()}"
        rows.append(bar(i + 1, points[i], points[i + 1], label, fill, words))
    rows.append(bar(len(steps) + 1, 0, points[-1], "Actual", "none", f"Actual {result.actual.text()}"))
    height = _ROW * (len(steps) + 2) + 8
    return (
        f'<svg class="bridge" viewBox="0 0 {_WIDTH:.0f} {height:.0f}" role="img" aria-label="From the estimated '
        f'{escape(result.estimated.text())} to the actual {escape(result.actual.text())}">'
        '<defs><pattern id="worse" width="6" height="6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)">'
        '<line x1="0" y1="0" x2="0" y2="6" stroke="currentColor" stroke-width="2"/></pattern></defs>'
        f'<line x1="{x(0):.1f}" y1="0" x2="{x(0):.1f}" y2="{height:.0f}" stroke="currentColor" stroke-dasharray="3 3"/>'
        f"{''.join(rows)}</svg>"
    )
