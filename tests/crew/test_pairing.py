"""How wrong pairing secrets are slowed down, by a clock that is moved by hand."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from driveout.crew.pairing import LENGTH, LONGEST_WAIT_S, SIGNS, Tries, spelled, tidied

NOW = datetime(2026, 5, 4, 18, 30, tzinfo=UTC)


def wrong(tries: Tries, times: int, address: str = "192.0.2.7", at: datetime = NOW) -> Tries:
    for _ in range(times):
        tries.note_wrong(address, at)
    return tries


def test_the_first_wrong_codes_cost_no_wait_and_each_further_one_doubles_it() -> None:
    waits = []
    tries = Tries()
    for _ in range(7):
        waits.append(tries.wait_s("192.0.2.7", NOW))
        tries.note_wrong("192.0.2.7", NOW)

    # Doubling from one second after three free tries: own rule, written out by hand.
    assert waits == [0, 0, 0, 1, 2, 4, 8]


def test_waiting_as_long_as_said_opens_the_way_again() -> None:
    tries = wrong(Tries(), 6)

    assert tries.wait_s("192.0.2.7", NOW + timedelta(seconds=7.5)) == pytest.approx(0.5)
    assert tries.wait_s("192.0.2.7", NOW + timedelta(seconds=8)) == 0


def test_a_wait_never_grows_beyond_a_quarter_of_an_hour() -> None:
    assert wrong(Tries(), 200).wait_s("192.0.2.7", NOW) == LONGEST_WAIT_S == 15 * 60


def test_setting_the_clock_back_does_not_shorten_a_wait() -> None:
    tries = wrong(Tries(), 6)

    assert tries.wait_s("192.0.2.7", NOW - timedelta(days=1)) == 8


def test_trying_from_ever_new_addresses_is_slowed_down_too() -> None:
    tries = Tries()
    for number in range(25):
        tries.note_wrong(f"192.0.2.{number}", NOW)

    assert tries.wait_s("198.51.100.1", NOW) == 2**5


def test_another_address_is_not_slowed_down_by_a_few_wrong_codes() -> None:
    assert wrong(Tries(), 6).wait_s("192.0.2.8", NOW) == 0


def test_wrong_codes_are_forgotten_after_half_a_day() -> None:
    tries = wrong(wrong(Tries(), 10), 1, at=NOW + timedelta(hours=13))

    assert tries.wait_s("192.0.2.7", NOW + timedelta(hours=13)) == 0


def test_addresses_without_end_do_not_fill_the_memory() -> None:
    tries = Tries()
    for number in range(5000):
        tries.note_wrong(f"2001:db8::{number:x}", NOW)

    assert len(tries.by_address) <= 1000


def test_a_code_read_out_and_typed_by_hand_is_the_same_code() -> None:
    secret = SIGNS[:LENGTH]

    assert tidied(spelled(secret).lower().replace("-", " ")) == secret
    # NIST SP 800-63B asks 20 bits of a short-lived one-time secret with throttling; this has 99.
    assert len(SIGNS) ** LENGTH > 2**99
    assert not set("01ILO") & set(SIGNS)
