"""The outlook strip: a money axis with the band of profits, as a picture that words also tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

from driveout.units import Money

NARROW, WIDE = 358, 720
TEXT = 13  # px; at 390 px screen width the narrow picture is drawn about 1:1
LETTER = 7.2  # px a letter of that size takes, on the safe side
WIDE_LETTER = 8.6  # px a bold letter takes
MARGIN = 6


@dataclass(frozen=True)
class StripBand:
    """What the strip shows. Money in minor units.

    Parameters
    ----------
    low, middle, high
        P10, median, P90 of the profit.
    wage_mark
        Profit that brings the person's wage for every expected hour.
    currency
        ISO 4217 code.
    loss_chance
        Chance of a loss.
    ceiling
        Walk-away price while the car is not bought; None after.
    """

    low: int
    middle: int
    high: int
    wage_mark: int
    currency: str
    loss_chance: float
    ceiling: int | None = None

    def text(self, minor: int) -> str:
        """An amount without its small change when it is large."""
        return Money(minor, self.currency).text()


def strip_words(band: StripBand) -> str:
    """The strip in one sentence, for those who do not see the picture."""
    if band.low == band.high:
        return f"Profit {band.text(band.middle)}, booked."
    words = (
        f"Profit {band.text(band.low)} to {band.text(band.high)} in eight of ten cases, "
        f"middle {band.text(band.middle)}; loss in {100 * band.loss_chance:.0f} of 100; "
        f"your wage is reached at {band.text(band.wage_mark)}"
    )
    if band.ceiling is not None:
        words += f"; walk away above {band.text(band.ceiling)}"
    return words + "."


def strip_svg(band: StripBand, name: str, width: int = NARROW) -> str:
    """The strip as an SVG picture with title and description.

    Parameters
    ----------
    band
        What to show.
    name
        Unique on the page; ids are made from it.
    width
        Width of the drawing. [px]

    Returns
    -------
    str
        Markup; the band is told by its outline and hatching, not by colour.
    """
    scale = _Scale.over([band.low, band.high, 0, band.wage_mark], width)
    left, right, middle = scale.at(band.low), scale.at(band.high), scale.at(band.middle)
    zero, wage = scale.at(0), scale.at(band.wage_mark)
    is_booked = band.low == band.high
    names = _mark_labels([(zero, "0"), (wage, f"wage {band.text(band.wage_mark)}")], width)
    height = 92 + 17 * max(row for *_, row in names)
    out = [
        f'<svg role="img" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'aria-labelledby="{name}-t {name}-d" xmlns="http://www.w3.org/2000/svg" font-size="{TEXT}">',
        f'<title id="{name}-t">Outlook of the profit</title>',
        f'<desc id="{name}-d">{escape(strip_words(band))}</desc>',
        f'<defs><pattern id="{name}-h" width="6" height="6" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(45)"><path d="M0 0V6" stroke="currentColor" stroke-width="1.6"/></pattern></defs>',
        _text(
            middle,
            14,
            f"profit {band.text(band.middle)}" + (" booked" if is_booked else ""),
            width,
            weight="700",
        ),
        f'<path d="M{MARGIN} 64H{width - MARGIN}" stroke="currentColor" stroke-width="1"/>',
        ""
        if is_booked
        else f'<rect x="{left:.1f}" y="22" width="{max(right - left, 2):.1f}" height="20" '
        f'fill="url(#{name}-h)" fill-opacity=".55" stroke="currentColor" stroke-width="1.5"/>',
        f'<path d="M{middle:.1f} 18V46" stroke="currentColor" stroke-width="4"/>',
    ]
    for x, text in (
        [] if is_booked else _apart([(left, band.text(band.low)), (right, band.text(band.high))], width)
    ):
        out.append(_text(x, 58, text, width))
    out.append(f'<path d="M{zero:.1f} 19V45M{zero:.1f} 61V72" stroke="currentColor" stroke-width="1.5"/>')
    out.append(
        f'<path d="M{wage:.1f} 19V45M{wage:.1f} 61V72" stroke="currentColor" stroke-width="1.5" stroke-dasharray="3 3"/>'
    )
    out += [_text(x, 85 + 17 * row, text, width) for x, text, row in names]
    return "".join([*out, "</svg>"])


def trail_svg(
    bands: Sequence[tuple[str, StripBand]],
    name: str,
    width: int = NARROW,
    title: str = "How the outlook moved with each fact",
) -> str:
    """How the band moved: one row a fact (or a choice), all on the same money axis.

    Parameters
    ----------
    bands
        Fact and the band after it, oldest first.
    name
        Unique on the page.
    width
        Width of the drawing. [px]
    title
        What the picture shows.

    Returns
    -------
    str
        Markup; empty when there is nothing to draw.
    """
    if not bands:
        return ""
    scale = _Scale.over([v for _, b in bands for v in (b.low, b.high)] + [0], width)
    height = 38 * len(bands) + 24
    longest = int((width - 2 * MARGIN) / LETTER)
    out = [
        f'<svg role="img" viewBox="0 0 {width} {height}" width="{width}" height="{height}" '
        f'aria-labelledby="{name}-t {name}-d" xmlns="http://www.w3.org/2000/svg" font-size="{TEXT}">',
        f'<title id="{name}-t">{escape(title)}</title>',
        f'<desc id="{name}-d">'
        + escape(" ".join(f"{fact}: middle {b.text(b.middle)}." for fact, b in bands))
        + "</desc>",
        _text(scale.at(0), height - 4, "0", width),
    ]
    for row, (fact, band) in enumerate(bands):
        top = 38 * row
        short = fact if len(fact) <= longest else fact[: longest - 1].rstrip() + "…"
        left, right, middle = scale.at(band.low), scale.at(band.high), scale.at(band.middle)
        out += [
            f'<text x="{MARGIN}" y="{top + 15}">{escape(short)}</text>',
            f'<rect x="{left:.1f}" y="{top + 21}" width="{max(right - left, 2):.1f}" height="9" '
            'fill="currentColor" fill-opacity=".25" stroke="currentColor"/>',
            f'<path d="M{middle:.1f} {top + 18}V{top + 33}" stroke="currentColor" stroke-width="3"/>',
            f'<path d="M{scale.at(0):.1f} {top + 18}V{top + 36}" stroke="currentColor" stroke-width="1"/>',
        ]
    return "".join([*out, "</svg>"])


@dataclass(frozen=True)
class _Scale:
    low: float
    per_px: float

    @classmethod
    def over(cls, values: Sequence[float], width: int) -> _Scale:
        low, high = min(values), max(values)
        pad = 0.04 * (high - low) or 1.0
        return cls(low - pad, (high - low + 2 * pad) / (width - 2 * MARGIN))

    def at(self, value: float) -> float:
        return MARGIN + (value - self.low) / self.per_px


def _text(x: float, y: float, text: str, width: int, weight: str = "400") -> str:
    half = 0.5 * (LETTER if weight == "400" else WIDE_LETTER) * len(text)
    inside = min(max(x, MARGIN + half), width - MARGIN - half)
    return f'<text x="{inside:.1f}" y="{y}" text-anchor="middle" font-weight="{weight}">{escape(text)}</text>'


def _apart(labels: list[tuple[float, str]], width: int) -> list[tuple[float, str]]:
    """Two labels moved so that they do not run into each other."""
    (left, one), (right, two) = labels
    room = 0.5 * LETTER * (len(one) + len(two)) + 6
    if right - left < room:
        middle = min(max(0.5 * (left + right), MARGIN + room / 2), width - MARGIN - room / 2)
        share = len(one) / (len(one) + len(two))
        left, right = middle - room * (1 - share), middle + room * share
    half_one, half_two = 0.5 * LETTER * len(one), 0.5 * LETTER * len(two)
    left = max(left, MARGIN + half_one)
    right = min(max(right, left + room), width - MARGIN - half_two)
    left = min(left, right - room)
    return [(left, one), (right, two)]


def _mark_labels(labels: list[tuple[float, str]], width: int) -> list[tuple[float, str, int]]:
    """Labels under the axis, each in the first row where it has room."""
    placed: list[tuple[float, str, int]] = []
    for x, text in labels:
        half = 0.5 * LETTER * len(text)
        inside = min(max(x, MARGIN + half), width - MARGIN - half)
        row = 0
        while any(r == row and abs(inside - p) < half + 0.5 * LETTER * len(t) + 6 for p, t, r in placed):
            row += 1
        placed.append((inside, text, row))
    return placed
