"""Numbers as people write them: thousands marks, decimal commas, full-width digits."""

from __future__ import annotations

import re
import unicodedata
from decimal import Decimal, InvalidOperation

from driveout.errors import BadEntry

_SPACES = re.compile(r"[\s\u00a0\u2007\u2009\u202f'\u2019\u02bc]")
_SIGNS = str.maketrans({"\u2212": "-", "\u2013": "-", "\u066b": ".", "\u066c": ","})
_GROUPED = re.compile(r"^[+-]?[1-9]\d{0,2}(?:([.,])\d{3})(?:\1\d{3})*$")


def read_number(text: str, decimal_comma: bool | None = None) -> Decimal:
    """Read one number that a person typed or a spreadsheet wrote.

    With both marks present the last one is the decimal mark. With one mark alone, followed by
    exactly three digits, it is a thousands mark unless ``decimal_comma`` settles it: ``1.450``
    and ``1,450`` both mean 1450 in an advert.

    Parameters
    ----------
    text
        The number; spaces and apostrophes between digits are thousands marks.
    decimal_comma
        True when the comma is known to be the decimal mark, False when the point is,
        None when it is not known.

    Returns
    -------
    Decimal
        The number, exactly as written.

    Raises
    ------
    BadEntry
        If it is not one finite number.
    """
    plain = _SPACES.sub("", unicodedata.normalize("NFKC", text).translate(_SIGNS))
    if decimal_comma is True:
        plain = plain.replace(".", "").replace(",", ".")
    elif decimal_comma is False:
        plain = plain.replace(",", "")
    elif "," in plain and "." in plain:
        thousands = "," if plain.rfind(".") > plain.rfind(",") else "."
        plain = plain.replace(thousands, "").replace(",", ".")
    elif _GROUPED.match(plain):
        plain = plain.replace(",", "").replace(".", "")
    else:
        plain = plain.replace(",", ".")
    if len(plain) > 40 or not re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)", plain):
        raise BadEntry(
            f"{text.strip()[:60]!r} is not a number. Write digits only, for example 1450 or 1,450.50.",
            value=text[:60],
            allowed="one number",
        )
    try:
        return Decimal(plain)
    except InvalidOperation as error:  # pragma: no cover - the pattern above admits only numbers
        raise BadEntry(f"{text!r} is not a number.", value=text) from error
