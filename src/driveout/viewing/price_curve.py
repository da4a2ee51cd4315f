"""How the value of a position falls with the asking price, kept exactly.

At any point of a viewing the best one can still make is a convex, piecewise linear,
falling function of the price, because each way of going on is one straight line
``at_nought - fall * price`` and one takes the best. Keeping the lines, and not values on a
grid, gives every price at which the advice changes to the last digit.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import inf

# Two ways of going on that differ by less than this share of the money at stake are the
# same; the one that comes first (stop before check) is then advised.
SAME = 1e-12


@dataclass(frozen=True, slots=True)
class Stretch:
    """One straight piece of a price curve; it holds from ``start`` to the next piece."""

    start: float
    at_nought: float
    fall: float
    step: int


Curve = tuple[Stretch, ...]
Line = tuple[float, float, int]


def best_of(lines: Sequence[Line], lowest: float, highest: float) -> Curve:
    """Upper envelope of straight lines between two prices.

    Parameters
    ----------
    lines
        ``(at_nought, fall, step)``: value at price 0 [money], fall per unit of price, and
        the number of the step that the line stands for. Earlier lines win ties.
    lowest
        Least price of interest. [money]
    highest
        Greatest price of interest; may be infinite. [money]

    Returns
    -------
    Curve
        Pieces in the order of rising price, the first starting at ``lowest``.
    """
    price = lowest
    current = _best_at(lines, price)
    pieces = [Stretch(price, *lines[current])]
    while True:
        at_nought, fall, _ = lines[current]
        crossing, following = inf, -1
        for number, (other_at_nought, other_fall, _) in enumerate(lines):
            if other_fall < fall - SAME:
                meets = (at_nought - other_at_nought) / (fall - other_fall)
                if meets < crossing - SAME * (1.0 + abs(meets)) or (
                    meets <= crossing and other_fall < lines[following][1]
                ):
                    crossing, following = max(meets, price), number
        if following < 0 or crossing >= highest:
            return tuple(pieces)
        price, current = crossing, following
        if pieces[-1].start >= price:
            pieces.pop()
        pieces.append(Stretch(price, *lines[current]))


def _best_at(lines: Sequence[Line], price: float) -> int:
    """Number of the line that is highest at and just above a price."""
    best = 0
    for number in range(1, len(lines)):
        at_nought, fall, _ = lines[number]
        best_at_nought, best_fall, _ = lines[best]
        lead = (at_nought - fall * price) - (best_at_nought - best_fall * price)
        slack = SAME * (1.0 + abs(at_nought) + abs(fall * price))
        if lead > slack or (lead > -slack and fall < best_fall - SAME):
            best = number
    return best


def value_at(curve: Curve, price: float) -> float:
    """Height of a curve at a price, in money."""
    piece = piece_at(curve, price)
    return piece.at_nought - piece.fall * price


def piece_at(curve: Curve, price: float) -> Stretch:
    """The piece that holds at a price; the first one below the range of the curve."""
    found = curve[0]
    for piece in curve[1:]:
        if piece.start > price:
            break
        found = piece
    return found


def added(curves: Iterable[Curve], lowest: float, share: float, plus: float, step: int) -> list[Line]:
    """Sum of curves, scaled and shifted, as lines that all carry one step number.

    The sum of convex piecewise linear curves changes its slope where one of them does, and
    on each stretch it is the sum of the lines that hold there.
    """
    together = [curve for curve in curves if curve]
    starts = sorted({lowest, *(piece.start for curve in together for piece in curve)})
    lines: list[Line] = []
    for start in starts:
        holding = [piece_at(curve, start) for curve in together]
        at_nought = share * sum(piece.at_nought for piece in holding) + plus
        lines.append((at_nought, share * sum(piece.fall for piece in holding), step))
    return lines
