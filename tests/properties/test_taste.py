"""A number that a page shows is read back as the same number, whatever the locale."""

from __future__ import annotations

from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from driveout.units import Money, minor_digits
from driveout.web.forms import Form
from driveout.web.taste import LOCALES, Taste, as_field, localised, number_text, settled, use

tastes = st.sampled_from([*(Taste(one, is_chosen=True) for one in LOCALES), Taste(), Taste("de-DE")])
chosen = st.sampled_from([Taste(one, is_chosen=True) for one in LOCALES])
amounts = st.decimals(min_value=0, max_value=10**9, allow_nan=False, allow_infinity=False, places=4)


@given(chosen, amounts, st.integers(0, 4))
@settings(max_examples=60)
def test_a_number_shown_on_a_page_and_typed_back_is_the_same(
    taste: Taste, value: Decimal, digits: int
) -> None:
    use(taste)
    shown = number_text(value, digits)

    assert Form({"n": shown}, taste=taste).decimal("n") == Decimal(f"{value:.{digits}f}")
    use(Taste())


@given(tastes, amounts)
@settings(max_examples=60)
def test_a_field_left_as_it_was_sends_the_same_number(taste: Taste, value: Decimal) -> None:
    use(taste)
    shown = str(as_field(value))

    assert Form({"n": shown}, taste=taste).decimal("n") == value
    use(Taste())


@given(chosen, st.integers(0, 10**12), st.sampled_from(["USD", "EUR", "JPY", "KWD"]))
@settings(max_examples=60)
def test_money_shown_and_typed_back_is_the_same_to_the_cent(taste: Taste, minor: int, currency: str) -> None:
    money = Money(minor, currency)
    use(taste)

    assert Form({"m": localised(money.text())}, taste=taste).money("m", currency) == money
    assert Form({"m": str(as_field(money.text()))}, taste=taste).money("m", currency) == money
    assert minor_digits(currency) in (0, 2, 3)
    use(Taste())


@given(tastes, st.text(max_size=60))
@settings(max_examples=60)
def test_whatever_is_typed_is_read_or_asked_about_never_a_crash(taste: Taste, text: str) -> None:
    from driveout.errors import BadEntry

    try:
        settled(text, taste)
        Form({"n": text}, taste=taste).decimal("n")
    except BadEntry:
        pass
