"""In which order to tighten: round flanges and wheels, and cylinder heads."""

from __future__ import annotations

from driveout.errors import BadEntry

MOST = 64


def circle_order(count: int) -> tuple[int, ...]:
    """Order for fasteners numbered round a circle.

    Multiples of four go in crosses, other even numbers in opposite pairs, odd numbers in a star.
    The maker's order always wins.

    Parameters
    ----------
    count
        How many fasteners, 1 to 64.

    Returns
    -------
    tuple of int
        Numbers from 1 in the order of tightening.

    Raises
    ------
    BadEntry
        If the number is out of range.

    References
    ----------
    asme-pcc-1, legacy cross pattern, from memory.

    Examples
    --------
    >>> circle_order(5)
    (1, 3, 5, 2, 4)
    >>> circle_order(8)
    (1, 5, 3, 7, 2, 6, 4, 8)
    """
    _check(count)
    if count % 4 == 0:
        quarter = count // 4
        return tuple(
            number + offset
            for number in _visit(quarter)
            for offset in (0, count // 2, quarter, count // 2 + quarter)
        )
    if count % 2 == 0:
        return tuple(number + offset for number in _visit(count // 2) for offset in (0, count // 2))
    return _visit(count)


def _visit(count: int) -> tuple[int, ...]:
    """Numbers 1 to count, jumping half way round each time to the next unused one."""
    step = max(1, count // 2)
    order: list[int] = []
    place = 0
    while len(order) < count:
        while place + 1 in order:
            place = (place + 1) % count
        order.append(place + 1)
        place = (place + step) % count
    return tuple(order)


def head_order(columns: int, rows: int = 2) -> tuple[int, ...]:
    """Order for a cylinder head: from the centre outwards, side to side.

    Fasteners are numbered along the first row from the left, then along the next row. Loosen in
    the reverse order. The maker's order always wins.

    Parameters
    ----------
    columns
        Fasteners per row.
    rows
        Rows, usually 2.

    Returns
    -------
    tuple of int
        Numbers from 1 in the order of tightening.

    Raises
    ------
    BadEntry
        If there are too few or too many.

    Examples
    --------
    >>> head_order(3)
    (2, 5, 4, 3, 1, 6)
    """
    _check(columns * rows)
    if columns < 1 or rows < 1:
        raise BadEntry("A head needs at least one row and one column.", field="columns", value=columns)
    middle = (columns - 1) / 2
    centre = (rows - 1) / 2

    def distance(number: int) -> tuple[float, ...]:
        row, column = divmod(number, columns)
        across, along = row - centre, column - middle
        # Rows stand closer together than the ends of the head; diagonals before neighbours.
        return (
            abs(along) + 0.25 * abs(across),
            abs(along),
            float(across * along > 0),
            float(column),
            float(row),
        )

    return tuple(number + 1 for number in sorted(range(columns * rows), key=distance))


def _check(count: int) -> None:
    if not 1 <= count <= MOST:
        raise BadEntry(
            f"{count} fasteners are outside 1 to {MOST}.", field="count", value=count, allowed=f"1 to {MOST}"
        )
