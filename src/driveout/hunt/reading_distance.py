"""Which of an advert's numbers is the distance on the clock, and which is the year."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Literal

from driveout.hunt.advert import FIRST_CAR_YEAR, MOST_KM
from driveout.hunt.plain_text import Plain
from driveout.hunt.reading import Alternative, Confidence, Read
from driveout.hunt.reading_numbers import Number
from driveout.units import km_from_miles

DistanceUnit = Literal["km", "mi"]

_KM = r"kms?(?![a-z/])|kilom\w*|klm|километр\w*|км|公里|千米|キロ|킬로|chilometri|tkm|т\.?км"
_MILES = r"miles?|mls|mi(?![a-z])|millas|milhas|meilen|миль|英里|マイル|m(?=\s+on the clock)"
_TEN_KM = r"mil(?![a-z])"
_UNIT_AFTER = re.compile(
    rf"\s?(?:original |actual |genuine |xxx )?(?:(?P<km>{_KM})|(?P<mi>{_MILES})|(?P<ten>{_TEN_KM}))"
)
_CUE_BEFORE = re.compile(
    r"(?:(?<![a-z])(?:mileage|milage|millage|odometer|odo|on the clock|clock(?:ed)?|laufleistung|gelaufen|tacho\w*|km-?stand|"
    r"kilometrage|kilometraje|compteur|chilometraggio|quilometragem|przebieg|najezd|najeto|kilometerstand|matkamittari|miltal|gatt|"
    r"recorrido|distance|пробег|пробіг|(?<![\dk] )(?<![\dk])(?:miles|mi|kms?|kilomet\w*)(?=\s?[:=-]?\s?\d*\s?$))|里程|公里数|行驶|走行|주행)\W{0,4}(?:is|of|at|about|around|approx|ca\.?|only|just|reads?|shows?|:|=|-|~|ist|de|около|[ ]){0,4}\W{0,3}$"
)
_ON_CLOCK_AFTER = re.compile(
    r"\s?(?:on (?:the )?(?:clock|odo\w*|it|her|dash)|on odometer|original|runter|gelaufen|au compteur)"
)
# Distances that are not the clock: intervals, ages of parts, ways to drive.
_OTHER_BEFORE = re.compile(
    r"(?<![a-z])(?:every|within|last|past|next|each|another|extra|for|since|after|before|until|alle|nach|seit|vor|tous les|depuis|cada|hace|через|после|каждые|"
    r"(?:changed|replaced|done|fitted|rebuilt|serviced?|services|due|warranty|ersetzt|gewechselt|gemacht|замен\w*|меня\w*|"
    r"fait\w*|chang\w*|remplac\w*|refait\w*|cambiad\w*|hech\w*|fatt\w*|sostituit\w*|wymian\w*|"
    r"belt|engine|motor|transmission|gearbox|tires?|tyres?)\s?(?:at|in|on|with|has|have|from|for|bei|mit|von|на|a|en|przy|by|only|had|about|around)+)"
    r"\s*(?:the |a |my |about |around |approx\.? |only |roughly |ca\.? |next |last ){0,3}$"
)
_OTHER_AFTER = re.compile(
    r"\s?(?:ago|away|since|back|per |/\s?(?:h|hr|l|y|100|tank)|old\b|earlier|before|from (?:me|here|town)|to (?:the )?(?:gallon|town|work|drive)|range|warranty|service|interval|"
    r"entfernt|von hier|weg\b|radius|left|remaining|later|each|north|south|east|west|назад|отсюда)"
)
_PER_HOUR = re.compile(r"\s?(?:mph|km/h|kph|kmh|km\s?/\s?h|l/|/)")
_NOT_KEPT = 1000  # smaller figures are ways and intervals unless a cue stands before them


# "Mileage 188" on an old car is 188 thousand.
_LEAST_THOUSANDS, _MOST_THOUSANDS = 20, 500


@dataclass(frozen=True, slots=True)
class _Distance:
    number: Number
    unit: str  # "", "km", "mi", "ten"
    end: int
    strength: int


_YEAR_AND_UNIT = re.compile(r"(?<!\d)(?:19|20)\d\d\s(?:kms?|miles?)\s?[:.=]?\s?$")
_NEXT_NUMBER = re.compile(r"\s?[:.=]?\s?\d")


def unit_after(plain: Plain, number: Number) -> tuple[str, int]:
    """Unit of distance written after a number ("km", "mi", "ten", or "") and where it ends."""
    found = _UNIT_AFTER.match(plain.folded, number.end)
    if not found:
        return "", number.end
    unit = "km" if found["km"] else "mi" if found["mi"] else "ten"
    if unit == "ten" and number.value < 1000:
        return "", number.end
    if (
        number.end - number.start == 4
        and 1950 <= number.value <= 2050
        and _NEXT_NUMBER.match(plain.folded, found.end())
    ):
        return "", number.end  # "2012 km 135.000": the unit stands before its number
    return unit, found.end()


def is_distance(plain: Plain, number: Number) -> bool:
    """Whether the words beside a number make it a distance and no price."""
    unit, _ = unit_after(plain, number)
    if unit or number.spread:
        return True
    before = plain.clause_before(number.start)
    return bool(
        _CUE_BEFORE.search(before)
        or _YEAR_AND_UNIT.search(before)
        or _ON_CLOCK_AFTER.match(plain.folded, number.end)
    )


def distance(plain: Plain, numbers: tuple[Number, ...], default: DistanceUnit, years: range) -> Read | None:
    """The distance on the clock in km, or None when the advert gives none.

    Parameters
    ----------
    plain
        The text.
    numbers
        Its free numbers.
    default
        Unit meant when none is written ("185k").
    years
        Numbers that are years unless a unit stands beside them.

    Returns
    -------
    Read | None
        ``mileage_km`` with other readings as alternatives.
    """
    found = [d for number in numbers if (d := _distance(plain, number, years)) is not None]
    # Of equals the larger: parts have gone less far than the car.
    found.sort(key=lambda d: (-d.strength, -d.number.value))
    if not found:
        return None
    best = found[0]
    value = _km(best.number.value, best.unit or default)
    others: list[Alternative] = []
    if not best.unit:
        other: DistanceUnit = "km" if default == "mi" else "mi"
        others.append(Alternative(_km(best.number.value, other), plain.words(best.number.start, best.end)))
    for rival in found[1:3]:
        same = _km(rival.number.value, rival.unit or default)
        # "185,000 km (115,000 miles)" says one thing twice.
        if rival.strength >= best.strength - 1 and abs(same - value) > 0.02 * value:
            others.append(Alternative(same, plain.words(rival.number.start, rival.end)))
    confidence: Confidence = (
        "guess"
        if best.strength < 4
        else "likely"
        if others or best.number.spread or best.strength < 5
        else "sure"
    )
    note = ""
    if best.number.spread:
        note = "Digits are hidden: the middle of what it can be was taken."
    elif not best.unit:
        note = f"No unit is written; {'miles' if default == 'mi' else 'km'} was taken."
    return Read(
        "mileage_km",
        value,
        plain.words(best.number.start, best.end),
        confidence,
        alternatives=tuple(others),
        note=note,
    )


def _distance(plain: Plain, number: Number, years: range) -> _Distance | None:
    unit, end = unit_after(plain, number)
    before = plain.clause_before(number.start)
    after = plain.folded[end : end + 24]
    cue = _CUE_BEFORE.search(before) or _YEAR_AND_UNIT.search(before)
    cued = cue is not None
    if cue is not None and not unit:
        unit = (
            "km" if re.search("km|kilom|км", cue[0]) else "mi" if re.search(r"miles|\bmi\b", cue[0]) else ""
        )
    clock = bool(_ON_CLOCK_AFTER.match(after))
    if _PER_HOUR.match(plain.folded, number.end) or _OTHER_AFTER.match(after):
        return None
    if not unit and not cued and not clock and not number.spread:
        bare = (
            number.times in ("k", "тыс", "тыс.", "tsd", "tsd.", "tys", "tys.")
            and 30_000 <= number.value <= 999_000
        )
        if not bare or _MONEY_BESIDE.search(before) or _MONEY_AFTER.match(after):
            return None
    if not unit and not number.is_grouped and not number.times and int(number.value) in years and not cued:
        return None
    if _OTHER_BEFORE.search(before) and not clock and not cued:
        return None
    if number.value < _NOT_KEPT and not (cued and number.value >= 10) and not clock:
        return None
    if cued and not unit and not number.times and _LEAST_THOUSANDS <= number.value <= _MOST_THOUSANDS:
        number = replace(number, value=number.value * 1000)  # "mileage 188"
    if _km(number.value, unit or "km") > MOST_KM:
        return None
    strength = (
        4 * bool(unit)
        + 3 * cued
        + 2 * clock
        + bool(number.spread)
        + bool(number.times)
        + (number.value >= 5_000)
    )
    return _Distance(number, unit, end, strength)


_MONEY_BESIDE = re.compile(r"[$£€¥₽₹₴₺]\s?$|(?<![a-z])(?:usd|eur|asking|price|for|obo|preis|цена)\W{0,3}$")
_MONEY_AFTER = re.compile(r"\s?(?:[$£€¥₽₹₴₺]|usd|eur|obo|o\.b\.o|ono|firm|cash|руб|元|vb)")


def _km(value: Decimal, unit: str) -> int:
    if unit == "mi":
        return round(km_from_miles(float(value)))
    return round(value * 10) if unit == "ten" else round(value)


_YEAR_CUE_BEFORE = re.compile(
    r"(?:(?<![a-z])(?:year|yr|model year|my|model|built|made|reg(?:istered)?|registration|bj|baujahr|ez|erstzulassung|annee|ano|anno|"
    r"rok|rocznik|vuosimalli|arsmodell|bouwjaar|god|mec|mise en circulation|год(?: выпуска)?|рік|immatricolazione|matriculado|ps)|年份|年式|연식)\W{0,4}(?:is|in|:|\d{1,2}[./]|[ ]){0,3}$"
)
_YEAR_CUE_AFTER = re.compile(r"\s?(?:model|my|reg\b|plate|г\.?\s?в|год|г\.|рік|年|년|年式|built|bj|baujahr)")
# A year that tells when something happened, not when the car was made.
_OTHER_YEAR_BEFORE = re.compile(
    r"(?:(?<![a-z])(?:in|since|until|til+|to|thru|through|from|last|done|replaced|changed|fitted|serviced?|inspected|inspection|tested|test|bought|purchased|"
    r"tags?|valid|good|expires?|expired|due|may|june|july|jan\w*|feb\w*|mar\w*|apr\w*|jun\w*|jul\w*|aug\w*|sept?\w*|oct\w*|nov\w*|dec\w*|"
    r"early|late|mid|summer|winter|spring|autumn|fall|tuv|hu|au|bis|seit|neu|gemacht|ersetzt|jusqu\w*|depuis|fait\w*|hasta|desde|itv|"
    r"до|в|с|по|меняли|замена|until the end of|mot|owned|parked|sat|before|after|new|tires?|tyres?|battery|belt|clutch|brakes)"
    r"|(?:检|年检|保险)(?:到)?)\W{0,3}(?:\d{1,2}[./]\s?)?$"
)


def year(plain: Plain, numbers: tuple[Number, ...], today_year: int) -> Read | None:
    """The model year, or None when the advert gives none.

    Parameters
    ----------
    plain
        The text.
    numbers
        Its free numbers.
    today_year
        The year it is; later years than the next are never taken.

    Returns
    -------
    Read | None
        ``made_year`` with other years as alternatives.
    """
    scored = [(s, n) for n in numbers if (s := _year_strength(plain, n, today_year)) is not None]
    short = _short_year(plain, today_year)
    if not scored:
        return short
    scored.sort(key=lambda pair: (-pair[0], pair[1].start))
    strength, best = scored[0]
    if strength < 1 and short is not None:
        return short
    if strength < 0:  # "replaced in 2022"
        return None
    others = tuple(
        Alternative(int(n.value), plain.words(n.start, n.end))
        for s, n in scored[1:3]
        if s >= strength - 1 and n.value != best.value
    )
    confidence: Confidence = (
        "sure" if strength >= 3 and not others else "likely" if strength >= 1 else "guess"
    )
    return Read(
        "made_year", int(best.value), plain.words(best.start, best.end), confidence, alternatives=others
    )


def _year_strength(plain: Plain, number: Number, today_year: int) -> int | None:
    plain_digits = (
        not number.is_grouped and not number.times and number.value == number.value.to_integral_value()
    )
    if (
        not plain_digits
        or not FIRST_CAR_YEAR <= number.value <= today_year + 1
        or number.end - number.start != 4
    ):
        return None
    if unit_after(plain, number)[0]:
        return None
    before, after = plain.clause_before(number.start), plain.folded[number.end : number.end + 12]
    if _MONEY_BESIDE.search(before) or _MONEY_AFTER.match(after):
        return None
    strength = 0
    if _YEAR_CUE_BEFORE.search(before):
        strength += 4
    elif _OTHER_YEAR_BEFORE.search(before):
        strength -= 3
    strength += 3 if _YEAR_CUE_AFTER.match(after) else 0
    line = plain.folded.rfind("\n", 0, number.start) + 1
    strength += 2 if not plain.folded[line : number.start].strip(" -*•|:#") else 0  # a line starts with it
    strength += 1 if line == 0 or not plain.folded[:line].strip() else 0  # it stands in the heading
    strength += 1 if 1980 <= number.value <= today_year else -1
    return strength


_SHORT = re.compile(
    r"(?<![\w'$£€])'(\d\d)(?![\w'])|(?<!\d)(\d\d)[ -](?:plate|reg\b)|(?<![a-z])my\s?'?(\d\d)(?!\d)|(?<![a-z])(?:bj|ez)\.?\s?(?:\d{1,2}[/.])?'?(\d\d)(?!\d)"
)


def _short_year(plain: Plain, today_year: int) -> Read | None:
    """Read "'13 Linnet", "13 plate", "MY13", "Bj. 13": two digits that can only be a year."""
    found = _SHORT.search(plain.folded)
    if not found:
        return None
    if found[2] is not None:
        # British plates: 13 is spring 2013, 63 autumn 2013 (DVLA scheme since 2001, from memory).
        digits = int(found[2])
        made = 2000 + (digits - 50 if digits > 50 else digits)
    else:
        digits = int(next(g for g in found.groups() if g is not None))
        made = 2000 + digits if 2000 + digits <= today_year + 1 else 1900 + digits
    if made > today_year + 1:
        return None
    return Read("made_year", made, plain.words(found.start(), found.end()), "likely")
