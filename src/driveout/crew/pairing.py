"""Secrets that pair a phone: how they are spelled, how long they hold, and how wrong ones are slowed down."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from datetime import datetime, timedelta

SIGNS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
"""Letters and digits that are not taken for one another when typed by hand."""
LENGTH = 20
"""Signs of a pairing secret: 31 to the power of 20 possibilities, 99 bits."""
MINUTES = 10
"""How long a pairing secret holds. Own choice: time to walk to the phone."""

FREE_TRIES = 3
FREE_TRIES_IN_ALL = 20
LONGEST_WAIT_S = 900.0
FORGOTTEN_AFTER = timedelta(hours=12)
MOST_ADDRESSES = 1000


def spelled(secret: str) -> str:
    """A secret in groups of four, for reading out and typing."""
    return "-".join(secret[at : at + 4] for at in range(0, len(secret), 4))


def tidied(text: str) -> str:
    """What was typed, without spaces and dashes, in capitals."""
    return "".join(letter for letter in text.upper() if letter in SIGNS)


def hash_of(secret: str) -> str:
    """What is kept of a secret. A plain hash is enough because the secret is long and random."""
    return hashlib.sha256(secret.encode()).hexdigest()


@dataclass
class _Wrong:
    count: int
    at: datetime


@dataclass
class Tries:
    """Wrong secrets so far, by address and in all; each one beyond the free ones doubles the wait.

    Moments are handed in. A clock that was set back never shortens a wait.

    Parameters
    ----------
    by_address
        Wrong tries of each address; the oldest are dropped beyond a thousand, the total is not.
    """

    by_address: dict[str, _Wrong] = field(default_factory=dict)
    _all: _Wrong | None = None

    def wait_s(self, address: str, now: datetime) -> float:
        """Seconds until this address may try again; 0 when it may now."""
        return max(
            _left(self.by_address.get(address), FREE_TRIES, now), _left(self._all, FREE_TRIES_IN_ALL, now)
        )

    def note_wrong(self, address: str, now: datetime) -> None:
        """Count a wrong secret."""
        self.by_address[address] = _one_more(self.by_address.pop(address, None), now)
        self._all = _one_more(self._all, now)
        while len(self.by_address) > MOST_ADDRESSES:
            del self.by_address[next(iter(self.by_address))]

    def note_right(self, address: str) -> None:
        """Forget the wrong tries of an address that has shown the right secret."""
        self.by_address.pop(address, None)

    def start_anew(self) -> None:
        """Forget the total: the owner has just made a new secret, which nobody has tried yet."""
        self._all = None
        self.by_address.clear()


def _one_more(wrong: _Wrong | None, now: datetime) -> _Wrong:
    if wrong is None or now - wrong.at > FORGOTTEN_AFTER:
        return _Wrong(1, now)
    return _Wrong(wrong.count + 1, max(now, wrong.at))


def _left(wrong: _Wrong | None, free: int, now: datetime) -> float:
    if wrong is None or wrong.count < free:
        return 0.0
    wait = min(LONGEST_WAIT_S, 2.0 ** min(wrong.count - free, 20))
    gone = (now - wrong.at).total_seconds()
    # Before the last wrong try lies only a clock that was set back: then the whole wait counts.
    return max(0.0, wait - max(0.0, gone))
