"""One owner's years told car by car: what was decided on what was seen, and what the truth was."""

from __future__ import annotations

from driveout.simulate.beliefs import believed_pack
from driveout.simulate.play import CarResult, Years
from driveout.simulate.ways import Way
from driveout.simulate.world import Stream


def _money(amount: float) -> str:
    return f"{'-' if amount < -0.5 else ''}{abs(amount):,.0f} USD"


def _faults(faults: tuple[str, ...]) -> str:
    pack = believed_pack()
    return ", ".join(pack.faults[fault].name.lower() for fault in faults) or "nothing"


def _signs(signs: tuple[tuple[str, str], ...]) -> str:
    pack = believed_pack()
    return ", ".join(
        f"{(pack.signs[name].words or (pack.signs[name].name,))[0].lower()}: {label}" for name, label in signs
    )


def car_story(met: Stream, car: CarResult) -> list[str]:
    """Lines on one car: the advert, the decision, what it turned out to be, what it brought.

    Parameters
    ----------
    met
        What the owner met, the hidden side included: this is told afterwards.
    car
        What came of the car.

    Returns
    -------
    list of str
        In plain words.
    """
    advert, truth = met.advert(car.number), met.car(car.number)
    paid = next(-flow.amount for flow in car.flows if flow.what == "price")
    sold = next(flow.amount for flow in car.flows if flow.what == "sale")
    said = _signs(advert.says) or "nothing of faults"
    lines = [
        f"Day {car.bought_on:.0f}: {car.looked} adverts read, {car.seen} cars seen. Value if sound about "
        f"{_money(advert.value)}, asked {_money(advert.asking)}; the advert says: {said}."
    ]
    if car.found:
        shown = [(name, label) for name, label in car.found if label not in ("no", "sound", "even")]
        lines.append(
            f"  Checks showed: {_signs(tuple(shown))}."
            if shown
            else f"  {len(car.found)} checks showed nothing."
        )
    lines.append(f"  Would pay up to {_money(car.most)}; bought for {_money(paid)}.")
    lines.append(
        f"  The truth: the seller would have taken {_money(truth.least_price)}; wrong were {_faults(truth.faults)}; "
        f"sound it would have been worth {_money(truth.value)}."
    )
    if car.mended:
        lines.append(
            f"  Mended: {_faults(car.mended)}." + (f" Left: {_faults(car.left)}." if car.left else "")
        )
    ends = {
        "sold": "Sold", "trade": "Sold to a trader", "part out": "Parted out", "scrap": "Scrapped",
    }  # fmt: skip
    rate = f", {_money(car.profit / car.hours)} an hour" if car.hours > 0 else ""
    lines.append(
        f"  {ends[car.end]} on day {car.sold_on:.0f} for {_money(sold)}: profit {_money(car.profit)} in "
        f"{car.hours:.0f} own hours and {car.days:.0f} days{rate}."
    )
    return lines


def years_story(met: Stream, way: Way, years: Years) -> list[str]:
    """The story of all cars of one owner, with his hidden side and his sums."""
    owner = met.owner
    lines = [
        f"Way of deciding: {way.name}.",
        f"Hidden: this owner takes {100 * (2.718281828**owner.bias_hours - 1):+.0f} % against the hours he estimates; "
        f"{30 * owner.enquiries:.0f} people a month ask about a car at its value.",
    ]
    for car in years.cars:
        lines += car_story(met, car)
    if years.cars:
        lines.append(
            f"Together: {len(years.cars)} cars, profit {_money(years.profit)}, {_money(years.profit / years.hours)} an own "
            f"hour, {_money(years.profit / years.days)} a day; {years.losses} with a loss."
        )
    return lines
