"""What a car needs next, with the reason."""

from __future__ import annotations

from dataclasses import dataclass

from driveout.units import Money

#: where going on and the ways out of a car are compared, after its address
STOP_PAGE = "/stop"


@dataclass(frozen=True)
class Situation:
    """What decides a car's next step.

    Parameters
    ----------
    car_id
        The car.
    stage
        Its stage of life.
    asking
        Price the seller asks.
    ceiling
        Walk-away price; None when it cannot be said.
    missing
        What is missing for an outlook, in words; empty when nothing.
    checks_done
        Number of recorded check results.
    repairs_chosen
        Number of chosen repairs.
    links_open
        Links undone and not yet back.
    steps_left
        Steps of the chosen work not yet done.
    cores_open
        Core deposits still to fetch.
    comparables
        Number of comparables for the value.
    planned
        Whether an asking plan exists.
    offers_open
        Offers without an answer.
    closed
        Whether the books of the car are closed.
    ending
        What to do instead of going on, when something else brings more; empty otherwise.
    ending_because
        Why, in words.
    """

    car_id: int
    stage: str
    asking: Money | None = None
    ceiling: Money | None = None
    missing: str = ""
    checks_done: int = 0
    repairs_chosen: int = 0
    links_open: int = 0
    steps_left: int = 0
    cores_open: int = 0
    comparables: int = 0
    planned: bool = False
    offers_open: int = 0
    closed: bool = False
    ending: str = ""
    ending_because: str = ""


@dataclass(frozen=True)
class Step:
    """One thing to do, why, where to do it, and how soon it should be looked at (0 first)."""

    what: str
    because: str
    link: str
    order: int

    @property
    def gives_up(self) -> bool:
        """Whether the car is better sold as it stands, parted out or scrapped than gone on with."""
        return self.link.endswith(STOP_PAGE)


def next_step(now: Situation) -> Step:
    """Return the one thing that this car needs from the person next.

    Parameters
    ----------
    now
        The car's situation.

    Returns
    -------
    Step
        The step; offers come before everything else, then cars that are better given up, closed cars
        last.
    """
    at = f"/cars/{now.car_id}"
    if now.offers_open:
        return Step("Answer the offer", "an offer waits and cools by the day", f"{at}/sale", 0)
    if now.stage in ("advert", "viewing"):
        return _before_buying(now, at)
    if now.ending:
        return Step(now.ending, now.ending_because, f"{at}{STOP_PAGE}", 1)
    if now.stage in ("bought", "in work"):
        return _in_the_garage(now, at)
    if now.stage == "for sale":
        if not now.planned:
            return Step(
                "Make the asking plan", "the car is for sale without a planned price", f"{at}/sale", 1
            )
        return Step("Look at the asking plan", "the planned price may step down", f"{at}/sale", 3)
    if now.stage == "sold" and not now.closed:
        return Step("Close the books", "its lesson sharpens the next estimate", f"{at}/lookback", 2)
    if now.cores_open:
        return Step("Fetch the core deposit", "it is your money until the shop's date", f"{at}/money", 2)
    return Step("Nothing", "its story is closed", f"{at}/lookback", 9)


def _before_buying(now: Situation, at: str) -> Step:
    if now.missing:
        why = now.missing.split(". ")[0].rstrip(".")
        because = why[:1].lower() + why[1:]
        return Step("Complete the advert", because, f"{at}/advert#facts", 4)
    if now.ceiling is not None and now.asking is not None and now.ceiling < now.asking.times(0):
        return Step("Walk away", "at no price does this car keep your rules", f"{at}/advert", 6)
    if now.ceiling is not None and now.asking is not None and now.ceiling < now.asking:
        because = f"the asked {now.asking.text()} is above your walk-away price {now.ceiling.text()}"
        what = "Check it, or offer less" if now.checks_done == 0 else "Offer less, or walk"
        return Step(what, because, f"{at}/viewing", 5)
    if now.checks_done == 0:
        return Step("Go and check it", "nothing has been seen with your own eyes yet", f"{at}/viewing", 4)
    return Step("Decide", "the asked price is within your walk-away price", f"{at}/advert", 3)


def _in_the_garage(now: Situation, at: str) -> Step:
    if not now.repairs_chosen:
        return Step("Choose the repairs", "nothing is chosen yet", f"{at}/repairs", 2)
    if now.steps_left:
        because = f"{now.links_open} links are open" if now.links_open else f"{now.steps_left} steps are left"
        return Step("Go on with the work", because, f"{at}/work", 2)
    if now.cores_open:
        return Step("Fetch the core deposit", "it is your money until the shop's date", f"{at}/money", 2)
    if now.comparables < 3:
        return Step("Value the car", "fewer than three comparables are recorded", f"{at}/value", 3)
    if not now.planned:
        return Step("Make the asking plan", "the work is done and every day costs", f"{at}/sale", 2)
    return Step("Put it up for sale", "the work is done and the price is planned", f"{at}/sale", 2)
