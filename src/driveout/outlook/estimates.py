"""The estimate of a car as lines that can be frozen at the decision and compared later."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from driveout.lessons import EstimateLine
from driveout.outlook.book import Charge, Mend, Piece, amount_on_grid, moments
from driveout.outlook.chances import FaultChances
from driveout.outlook.forecast import Case
from driveout.outlook.from_catalogue import work_name
from driveout.outlook.spread import cost_distribution
from driveout.uncertain import HIGH_SHARE, LOW_SHARE, Lattice, ThreePoint
from driveout.units import minor_digits

MONEY, HOURS = Charge(1.0, 0.0, 0.0), Charge(0.0, 1.0, 0.0)
#: a fault with at least this chance gets a line of its own
OWN_LINE = 0.5
#: kind of cost of the lines that come anyway
KINDS = {"papers": "fees", "fetching": "travel", "viewing-trip": "travel", "selling": "fees"}


def lines_of(case: Case, price: float | None = None) -> tuple[EstimateLine, ...]:
    """The estimate of a car, line by line, in the money record's kinds.

    Faults that are more likely than not have a line each, under their repair's key; the others
    share one reserve, whose range is that of their summed cost.

    Parameters
    ----------
    case
        Everything the outlook is made from.
    price
        Price of the car; the case's own if left out. [minor units]

    Returns
    -------
    tuple[EstimateLine, ...]
        Purchase, foreseen lines, likely repairs, reserve. Money in major units.
    """
    scale = 10.0 ** minor_digits(case.rules.currency)
    price = case.price if price is None else price
    lines = []
    if price is not None:
        lines.append(EstimateLine("purchase", "purchase", "Purchase", _sure(price / scale)))
    for piece in case.book.always:
        kind = KINDS.get(piece.key, "parts" if piece.key else "supplies")
        lines += _line(piece.key or work_name(piece.label), kind, piece.label, (piece,), scale)
    chances = case.chances.of_fault
    likely: dict[str, list[Mend]] = {}
    for mend in case.book.mends:
        if mend.repair and chances.get(mend.fault, 0.0) >= OWN_LINE:
            likely.setdefault(mend.repair, []).append(mend)
    access, opened = dict(case.book.access), set[str]()
    for repair, mends in likely.items():
        groups = [g for g in mends[0].opens if g not in opened]
        opened.update(groups)
        pieces = (*(access[g] for g in groups), *mends[0].pieces)
        label = mends[0].label.split(": ", 1)[-1]
        lines += _line(repair, "parts", label[:1].upper() + label[1:], pieces, scale, work=work_name(repair))
    settled = {mend.fault for mends in likely.values() for mend in mends}
    rest = tuple(m for m in case.book.mends if m.fault not in settled)
    if rest and isinstance(case.chances, FaultChances):
        left = replace(case.book, mends=rest, always=())
        lines.append(
            EstimateLine(
                "reserve",
                "parts",
                "Faults that may be there",
                _three(cost_distribution(case.chances, left, MONEY, points=1024), scale),
                _three(cost_distribution(case.chances, left, HOURS, points=512), 1.0),
                kind_of_work="unforeseen",
            )
        )
    keys: set[str] = set()
    found = []
    for line in lines:
        if line.key not in keys:
            keys.add(line.key)
            found.append(line)
    return tuple(found)


def _line(
    key: str, kind: str, label: str, pieces: Sequence[Piece], scale: float, work: str = ""
) -> list[EstimateLine]:
    money, hours = _range(pieces, MONEY, scale), _range(pieces, HOURS, 1.0)
    if money is None and hours is None:
        return []
    return [EstimateLine(key, kind, label, money, hours, kind_of_work=work or (key if hours else ""))]


def _range(pieces: Sequence[Piece], charge: Charge, scale: float) -> ThreePoint | None:
    mean, square = moments(pieces, charge)
    if mean <= 0.0:
        return None
    spread = float(np.sqrt(max(square - mean * mean, 0.0)))
    if spread == 0.0:
        return _sure(mean / scale)
    step = 10.0 ** np.floor(np.log10((mean + 8.0 * spread) / 200.0))
    return _three(amount_on_grid(tuple(pieces), charge, float(step)), scale)


def _three(grid: Lattice, scale: float) -> ThreePoint:
    low, high = grid.quantile(LOW_SHARE), grid.quantile(HIGH_SHARE)
    # a lump of chance at the low end (nothing to pay at all) is not what is likely when it costs
    inside = (grid.points > low) & (grid.points < high)
    mode = float(grid.points[inside][np.argmax(grid.pmf[inside])]) if inside.any() else low
    return ThreePoint(low / scale, mode / scale, high / scale)


def _sure(value: float) -> ThreePoint:
    return ThreePoint(value, value, value)
