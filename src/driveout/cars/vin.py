"""The vehicle identification number: check digit, model year, look-alike letters.

49 CFR 565 (cfr-49-565): transliteration and weights of Table III and IV, worked example of Table V,
and position 7 of the number deciding which 30-year cycle the year letter belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass

from driveout.errors import BadEntry

_VALUES = {
    **{str(d): d for d in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
_WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
_YEAR_CODES = "ABCDEFGHJKLMNPRSTVWXY123456789"
_LOOKALIKES = {"I": "1", "O": "0", "Q": "0"}


@dataclass(frozen=True)
class VinReading:
    """What a 17-character number says.

    Parameters
    ----------
    vin
        The number in capitals.
    check_digit
        The digit that its other characters demand at position 9.
    check_holds
        Whether position 9 is that digit. Only a North-American number must pass; a pass is no
        proof (about 8 % of single slips pass).
    years
        Model years that position 10 allows; more than one means it is ambiguous.
    """

    vin: str
    check_digit: str
    check_holds: bool
    years: tuple[int, ...]


def check_digit(vin: str) -> str:
    """Digit (or X) that position 9 must carry: the weighted sum of all values, modulo 11.

    References
    ----------
    cfr-49-565, Table III to V.
    """
    total = sum(_VALUES[letter] * weight for letter, weight in zip(vin, _WEIGHTS, strict=True))
    return "X" if total % 11 == 10 else str(total % 11)


def read_vin(text: str, *, this_year: int, light_vehicle: bool = True) -> VinReading:
    """Read a vehicle identification number.

    Parameters
    ----------
    text
        The number; spaces and dashes are ignored.
    this_year
        Calendar year; model years beyond the next one are left out.
    light_vehicle
        True for cars and light trucks, for which position 7 tells the cycle of the year
        letter; False for buses, motorcycles and heavy trucks, where it does not.

    Returns
    -------
    VinReading
        Check digit and possible years.

    Raises
    ------
    BadEntry
        If it is not 17 characters, or has a letter that no number may have (I, O, Q), with the
        look-alike digit to try.

    References
    ----------
    cfr-49-565, 565.15 and 565.25.
    """
    vin = "".join(letter for letter in text.upper() if letter not in " -")
    if len(vin) != 17:
        raise BadEntry(
            f"The number has {len(vin)} characters; a vehicle identification number has 17.",
            field="vin",
            value=text[:40],
            allowed="17 letters and digits",
        )
    for position, letter in enumerate(vin, 1):
        if letter in _LOOKALIKES:
            raise BadEntry(
                f"Position {position} is {letter}, which no number may have. Is it the digit {_LOOKALIKES[letter]}?",
                field="vin",
                value=text,
                allowed="letters except I, O, Q, and digits",
            )
        if letter not in _VALUES:
            raise BadEntry(
                f"Position {position} is {letter!r}.", field="vin", value=text, allowed="letters and digits"
            )
    digit = check_digit(vin)
    return VinReading(vin, digit, vin[8] == digit, _model_years(vin, this_year, light_vehicle))


def _model_years(vin: str, this_year: int, light_vehicle: bool) -> tuple[int, ...]:
    if vin[9] not in _YEAR_CODES:
        return ()
    first = 1980 + _YEAR_CODES.index(vin[9])
    years: tuple[int, ...] = (first, first + 30)
    if light_vehicle:
        years = (years[1],) if vin[6].isalpha() else (years[0],)
    return tuple(year for year in years if year <= this_year + 1)


# Characters that the eye or a camera takes for one another.
_CONFUSED = ("0DOQ", "1IL7", "2Z", "5S", "6G", "8B", "UV", "MN", "KX", "CG", "EF", "PR")


def vin_suggestions(text: str, at_most: int = 6) -> tuple[str, ...]:
    """Numbers that one look-alike or one swap would turn into what was typed, and whose check digit holds.

    I, O and Q are always replaced, since no number has them. Only a suggestion: about 8 % of slips
    pass the check by chance, and a number from outside North America need not pass it at all.

    Parameters
    ----------
    text
        What was typed; spaces and dashes are ignored.
    at_most
        Number of suggestions.

    Returns
    -------
    tuple of str
        Candidates, look-alikes before swaps; empty when the number already holds.

    References
    ----------
    cfr-49-565, check digit.

    Examples
    --------
    >>> vin_suggestions("1G4AH59H45G1I8341")
    ('1G4AH59H45G118341',)
    """
    typed = "".join(letter for letter in text.upper() if letter not in " -")
    vin = "".join(_LOOKALIKES.get(letter, letter) for letter in typed)
    if len(vin) != 17 or any(letter not in _VALUES for letter in vin):
        return ()
    if check_digit(vin) == vin[8]:
        return (vin,) if vin != typed else ()
    candidates: list[str] = []
    for place, letter in enumerate(vin):
        for group in _CONFUSED:
            if letter in group:
                candidates += [
                    f"{vin[:place]}{other}{vin[place + 1 :]}"
                    for other in group
                    if other != letter and other in _VALUES
                ]
    candidates += [
        vin[:place] + vin[place + 1] + vin[place] + vin[place + 2 :]
        for place in range(16)
        if vin[place] != vin[place + 1]
    ]
    holding = [candidate for candidate in candidates if check_digit(candidate) == candidate[8]]
    return tuple(dict.fromkeys(holding))[:at_most]
