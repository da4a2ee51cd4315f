"""Promised against kept: the picture of the calibration page, with the same numbers in its table."""

from __future__ import annotations

from html import escape

from driveout.lessons.calibration import Calibration

_WIDE, _LINE, _TOP, _LEFT, _RIGHT = 360.0, 46.0, 26.0, 60.0, 12.0


def calibration_svg(found: Calibration) -> str:
    """Draw how often actuals fell inside each range, over the band that chance alone gives.

    Parameters
    ----------
    found
        The calibration.

    Returns
    -------
    str
        An SVG that scales to its place; empty without jobs.
    """
    if not found.jobs:
        return ""
    high = _TOP + _LINE * len(found.coverage) + 22

    def x(share: float) -> float:
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * share

    said = "; ".join(
        f"{cover.promised:.0%} promised, {cover.inside} of {cover.jobs} inside" for cover in found.coverage
    )
    parts = [
        f'<svg class="coverage" width="440" viewBox="0 0 {_WIDE:.0f} {high:.0f}" role="img" aria-label="{escape(said)}">',
        f'<text x="{_LEFT:.0f}" y="14" font-size="13">band: by chance; line: promised; dot: yours</text>',
    ]
    for row, cover in enumerate(found.coverage):
        y = _TOP + _LINE * (row + 0.5)
        low, top = x(cover.low / cover.jobs), x(cover.high / cover.jobs)
        parts += [
            f'<text x="0" y="{y + 5:.0f}" font-size="14">{cover.promised:.0%}</text>',
            f'<rect x="{low:.1f}" y="{y - 11:.1f}" width="{max(top - low, 1):.1f}" height="22" fill="none" '
            'stroke="currentColor" stroke-dasharray="4 3"/>',
            f'<line x1="{x(cover.promised):.1f}" x2="{x(cover.promised):.1f}" y1="{y - 15:.1f}" y2="{y + 15:.1f}" '
            'stroke="currentColor" stroke-width="2"/>',
            f'<circle cx="{x(cover.inside / cover.jobs):.1f}" cy="{y:.1f}" r="6" fill="currentColor"/>',
        ]
    parts += [
        f'<text x="{x(0):.0f}" y="{high - 6:.0f}" font-size="13">none inside</text>',
        f'<text x="{x(1):.0f}" y="{high - 6:.0f}" font-size="13" text-anchor="end">all inside</text>',
        "</svg>",
    ]
    return "".join(parts)
