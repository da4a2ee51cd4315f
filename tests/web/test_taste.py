"""How numbers and days are written and read back on a device."""

from __future__ import annotations

import re
from datetime import date
from decimal import Decimal

import pytest
from markupsafe import Markup
from starlette.testclient import TestClient

from driveout.cars.actions import add_car
from driveout.demo.actions import fill
from driveout.errors import BadEntry
from driveout.money.actions import cost_so_far
from driveout.store import Store
from driveout.units import Money
from driveout.web.forms import Form
from driveout.web.taste import (
    Taste,
    as_field,
    day_text,
    drawn_amounts,
    finished,
    km_text,
    number_text,
    settled,
    taste_of,
    use,
)
from tests.conftest import Browser, Clock

US, GB, DE, CH = (Taste(locale, is_chosen=True) for locale in ("en-US", "en-GB", "de-DE", "fr-CH"))


@pytest.fixture(autouse=True)
def plain_afterwards() -> object:
    yield
    use(Taste())


# Unicode CLDR, locale data as printed in the charts of release 44: symbols of decimal and group, and the
# medium or short day; from memory.
@pytest.mark.parametrize(
    ("taste", "number", "day"),
    [
        (US, "1,234,567.50", "May 31, 2026"),
        (GB, "1,234,567.50", "31 May 2026"),
        (DE, "1.234.567,50", "31.05.2026"),
        (CH, "1'234'567.50", "31.05.2026"),
    ],
    ids=lambda part: part.locale if isinstance(part, Taste) else "",
)
def test_numbers_and_days_are_written_as_the_locale_writes_them(taste: Taste, number: str, day: str) -> None:
    use(taste)

    assert number_text(Decimal("1234567.5"), 2) == number
    assert day_text(date(2026, 5, 31)) == day


@pytest.mark.parametrize(
    ("taste", "typed", "meant"),
    [
        (GB, "1,450", "1450"),
        (GB, "1.450", "1.450"),
        (DE, "1.450", "1450"),
        (DE, "1,450", "1.450"),
        (DE, "1.234,50", "1234.50"),
        (GB, "1.234,50", "1234.50"),
        (DE, "1 234,5", "1234.5"),
        (CH, "1'234.5", "1234.5"),
        (GB, "0,125", "0.125"),
        (GB, "1,234,567", "1234567"),
        (Taste(), "3,5", "3.5"),
        (Taste(), "1,450", "1450"),
    ],
)
def test_a_number_that_can_be_meant_in_one_way_only_is_read(taste: Taste, typed: str, meant: str) -> None:
    assert settled(typed, taste) == meant


@pytest.mark.parametrize(
    ("taste", "typed"),
    [
        (Taste(), "1.234"),
        (Taste("de-DE"), "1,234"),
        (GB, "1,5"),
        (DE, "1.5"),
        (GB, "12,34"),
        (DE, "1.23,456.7"),
    ],
)
def test_a_number_that_can_be_read_in_two_ways_is_asked_about(taste: Taste, typed: str) -> None:
    with pytest.raises(BadEntry, match="two ways"):
        settled(typed, taste)


def test_a_form_asks_and_names_the_field() -> None:
    form = Form({"price": "1.234"}, taste=Taste())

    with pytest.raises(BadEntry, match=r"Price: '1\.234' can be read in two ways") as asked:
        form.money("price", "USD")
    assert asked.value.field == "price"


@pytest.mark.parametrize(
    ("taste", "typed", "minor"),
    [
        (DE, "1.450,50 €", 145050),
        (DE, "1.450", 145000),
        (US, "$1,450.50", 145050),
        (CH, "1'450.50 EUR", 145050),
    ],
)
def test_money_is_read_in_the_marks_of_the_locale(taste: Taste, typed: str, minor: int) -> None:
    currency = "USD" if "$" in typed else "EUR"

    assert Form({"price": typed}, taste=taste).money("price", currency) == Money(minor, currency)


def test_three_decimals_of_a_currency_that_has_them_are_no_thousands() -> None:
    # ISO 4217: the Kuwaiti dinar has three decimals.
    assert Form({"price": "1.234"}, taste=GB).money("price", "KWD") == Money(1234, "KWD")


def test_the_language_of_the_browser_is_followed_until_something_is_chosen() -> None:
    # RFC 9110, 12.5.4: a list with weights, the best first by custom.
    assert taste_of("", "de-AT,de;q=0.9,en;q=0.8").locale == "de-DE"
    assert taste_of("", "fr-CH, fr;q=0.9").locale == "fr-CH"
    assert taste_of("", "nonsense").locale == "en-GB"
    assert taste_of("en-US.metric.dark", "de").locale == "en-US"


@pytest.mark.parametrize("cookie", ["", "xx.both.dark", "de-DE", "de-DE.both.<script>", "." * 500])
def test_a_cookie_that_is_none_of_ours_is_not_believed(cookie: str) -> None:
    assert taste_of(cookie) == Taste()


def test_distances_follow_the_choice() -> None:
    # 1 mile = 1.609344 km exactly (international yard and pound agreement, 1959).
    use(Taste("en-GB", "both"))
    assert km_text(160.9344) == "161 km (100 mi)"
    use(Taste("en-GB", "imperial"))
    assert km_text(160.9344) == "100 mi"
    use(Taste("en-GB", "metric"))
    assert km_text(160.9344) == "161 km"


def test_amounts_inside_sentences_follow_but_codes_and_versions_do_not() -> None:
    use(DE)

    assert finished("Receipt: clutch kit, 1,142.00 USD.") == "Receipt: clutch kit, 1.142,00 USD."
    assert finished("Linnet 1.4, 2013") == "Linnet 1.4, 2013"
    assert finished("ISO 7866, 4.2.1") == "ISO 7866, 4.2.1"


def test_a_page_with_a_decimal_comma_shows_and_reads_it(browser: Browser) -> None:
    browser.post("/settings", {"locale": "de-DE", "units": "metric", "theme": "dark"})
    page = browser.get("/rules")
    assert 'data-theme="dark"' in page
    assert 'name="loss_chance" type="text" value="0,2"' in page or 'value="0,' in page

    from tests.web.test_two_versions import fields_of

    fields = {**fields_of(page, "/rules"), "wage_per_hour": "12,50"}
    browser.post("/rules", fields)
    assert 'value="12,5' in browser.get("/rules")


def test_an_unknown_choice_is_refused_and_nothing_kept(browser: Browser) -> None:
    browser.post("/settings", {"locale": "tlh", "units": "both", "theme": "dark"}, status=422)

    assert "data-theme" not in browser.get("/settings")


def test_a_value_put_into_a_field_is_read_back_as_itself() -> None:
    for taste in (US, GB, DE, CH, Taste(), Taste("de-DE")):
        use(taste)
        for value in (Decimal("1.234"), 0.125, 1234.5, 98000, Decimal("1450.50"), "1,450.00 USD", 12.0):
            shown = str(as_field(value))
            plain = settled(shown, taste).replace(" USD", "")
            assert Decimal(plain) == Decimal(str(value).replace(",", "").replace(" USD", "")), (taste, value)


def test_a_week_begins_as_chosen_or_as_is_the_custom(browser: Browser, store: Store) -> None:
    """First day of the week by territory: Sunday in the United States, Monday in Germany (CLDR, from memory)."""
    days = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
    assert US.week(days)[0] == "sunday"
    assert DE.week(days) == list(days)
    assert taste_of("de-DE.metric.dark.saturday").week(days)[:3] == ["saturday", "sunday", "monday"]
    assert taste_of("de-DE.metric.dark.doomsday").week_begins == "monday"

    fill(store)
    chosen = {"locale": "en-GB", "units": "both", "theme": "system", "first_day": "sunday"}
    browser.post("/settings", chosen)
    page = browser.get("/cars/2/plan")
    assert page.index('name="me_sunday"') < page.index('name="me_monday"')


def test_amounts_of_a_drawing_follow_and_its_lines_do_not() -> None:
    use(DE)
    drawing = Markup('<path d="M 10.5 20.25 h 3.5 V 1,234.5"/><text>1,234.50 USD</text>')

    assert drawn_amounts(drawing) == Markup(
        '<path d="M 10.5 20.25 h 3.5 V 1,234.5"/><text>1.234,50 USD</text>'
    )


def test_the_whole_first_page_of_a_car_holds_one_way_of_writing_money(browser: Browser, store: Store) -> None:
    fill(store)
    browser.post("/settings", {"locale": "de-DE", "units": "metric", "theme": "system"})
    for path in ("/", "/cars/2/money", "/cars/2/outlook", "/cars/2/repairs"):
        text = browser.get(path)
        assert re.findall(r"\d,\d{3}\.\d\d [A-Z]{3}", text) == [], path


def test_a_day_in_a_sentence_is_written_as_on_the_device_and_a_field_keeps_its_own() -> None:
    use(Taste("de-DE", is_chosen=True))
    try:
        assert finished("Sold about 2027-05-14, not 2027-02-31.") == "Sold about 14.05.2027, not 2027-02-31."
        assert finished("2027-05-14") == "2027-05-14"
        assert drawn_amounts(Markup('<text data-day="2027-05-14">2027-05-14 to 88.1 h.</text>')) == (
            '<text data-day="2027-05-14">14.05.2027 to 88,1 h.</text>'
        )
    finally:
        use(Taste())


def test_what_a_filter_has_written_is_not_written_again(client: TestClient) -> None:
    use(Taste("de-DE", is_chosen=True))
    try:
        page = client.app.state.frame.templates.from_string("{{ way | km }}, {{ price | money }}")  # type: ignore[attr-defined]
        assert page.render(way=158_359.0, price=Money(1234, "JPY")) == "158.359 km (98.400 mi), 1.234 JPY"
    finally:
        use(Taste())


@pytest.mark.parametrize(
    ("locale", "typed", "booked"),
    [
        ("de-DE", "1.250", 125_000),
        ("fr-CH", "1'250.5", 125_050),
        ("en-US", "1,250", 125_000),
        ("en-US", "1.250", 125),
    ],
)
def test_a_number_typed_in_the_chosen_way_is_read_so_by_the_page(
    browser: Browser, store: Store, clock: Clock, locale: str, typed: str, booked: int
) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="Tarnwick Linnet 1.4", currency="USD", at=clock(), stage="bought", facts={}).id
    browser.post("/settings", {"locale": locale, "units": "metric", "theme": "system"})
    receipt = {"amount": typed, "what": "clutch kit", "kind": "parts", "day": clock().date().isoformat()}
    browser.post(f"/cars/{car}/money/receipt", receipt)

    with store.reading() as tx:
        assert cost_so_far(tx, car).work_in_progress.minor == booked
