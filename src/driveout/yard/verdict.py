"""Finish, sell as it stands, or stop: one word for each car, with its reasons."""

from __future__ import annotations

from dataclasses import dataclass

from driveout.outlook.ahead import Ahead
from driveout.outlook.endings import AS_IT_STANDS, GO_ON, OFFER, Endings
from driveout.units import Money
from driveout.yard.renewal import NextOrThis, next_or_this

FINISH, SELL, TAKE_OFFER, STOP = "Finish it", "Sell it as it stands", "Take the offer", "Stop"
_SAID = {GO_ON: FINISH, AS_IT_STANDS: SELL, OFFER: TAKE_OFFER}


@dataclass(frozen=True)
class Verdict:
    """What to do with one car.

    Parameters
    ----------
    says
        ``Finish it``, ``Sell it as it stands``, ``Take the offer`` or ``Stop``.
    reasons
        In sentences, the deciding one first.
    bay
        What a day in its bay still brings against what the next car would bring; None when no next
        car is known.
    """

    says: str
    reasons: tuple[str, ...]
    bay: NextOrThis | None


def verdict(
    ahead: Ahead,
    endings: Endings,
    next_per_day: float | None,
    planned_hours: float = 0.0,
    hours_done: float = 0.0,
) -> Verdict:
    """Say what to do with a car, by what is still to come of it.

    Parameters
    ----------
    ahead
        What is still to come if it is gone on with.
    endings
        Going on and the ways out, compared.
    next_per_day
        What a day of a bay brings with the next car; None when that is not known or a bay is free.
        [minor units/day]
    planned_hours
        Own hours of the frozen estimate, to name an overrun. [h]
    hours_done
        Own hours booked. [h]

    Returns
    -------
    Verdict
        The word and why.
    """

    def text(minor: float) -> str:
        return Money(round(minor), endings.currency).text()

    going = next((choice for choice in endings.choices if choice.key == GO_ON), None)
    other = next((choice for choice in endings.choices if choice.key != GO_ON and not choice.refused), None)
    reasons = [endings.sentence]
    if planned_hours > 0 and hours_done > planned_hours:
        reasons.append(
            f"It has taken {hours_done:.0f} of the {planned_hours:.0f} own hours planned, and about "
            f"{ahead.hours.mean:.0f} more are to come. The hours gone are gone under every choice."
        )
    elif ahead.hours.mean > 0:
        reasons.append(
            f"About {ahead.hours.mean:.0f} own hours are to come, each bringing {text(ahead.per_hour)}; "
            f"sold in about {ahead.days.mean:.0f} days."
        )
    bay = None
    if next_per_day is not None and going is not None:
        gain = going.worth - (other.worth if other is not None else 0.0)
        bay = next_or_this(gain, ahead.days.mean - (other.days if other is not None else 0.0), next_per_day)
        if endings.best == GO_ON and not bay.finish_first:
            reasons.append(
                f"But each further day in its bay brings {text(bay.this_rate)}, and the next car would bring "
                f"{text(bay.next_rate)}: with no bay free, letting it go early earns more."
            )
    return Verdict(word_for(endings.best, _label(endings)), tuple(reasons), bay)


def word_for(best: str, label: str) -> str:
    """What to do with a car, in a few words, from the key and the label of its best ending."""
    return _SAID.get(best, f"{STOP}: {label}")


def _label(endings: Endings) -> str:
    return next((choice.label for choice in endings.choices if choice.key == endings.best), endings.best)
