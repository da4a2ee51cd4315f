"""Fills a record with the invented scenario: one car finished last winter, one advert to decide on."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from decimal import Decimal

from driveout.cars.actions import list_cars
from driveout.files import shipped
from driveout.hunt.actions import add_advert, buy, reading_of
from driveout.hunt.advert import MoneyRange
from driveout.lessons.actions import close_car
from driveout.money.actions import book_core_return, book_hours, book_receipt, book_travel
from driveout.repairs.actions import choose_repair, finish_repair
from driveout.selling.actions import sell_car
from driveout.store import Store, Tx
from driveout.units import Money
from driveout.wear.actions import record_readings, set_maker_limit

SHOP = "Quillan Motor Factors"
FIRST_CAR = """Tarnwick Pipit 1.2, made 2011, 121,000 miles, Ostley. Starter is dead, you have to bump start it,
runs and drives fine once going. Clean title in hand. Valve cover gasket leaks a little oil.
Small dent in the rear door. Asking $900."""


def usd(amount: str) -> Money:
    """Amount in US dollars."""
    return Money.of(amount, "USD")


def value(low: str, likely: str, high: str) -> MoneyRange:
    """What a car sells for without its faults, in three points."""
    return MoneyRange(usd(low), usd(likely), usd(high))


def fill(store: Store) -> None:
    """Put the demo cars into a record that holds none; a record with cars is left as it is."""
    with store.reading() as tx:
        if list_cars(tx):
            return
    now = store.now()
    with store.writing() as tx:
        finished_car(tx, now - timedelta(days=130))
    with store.writing() as tx:
        linnet(tx, now)


def linnet(tx: Tx, at: datetime) -> int:
    """Read the advert of the car that the demo is about; return its number."""
    text = shipped("driveout.demo", "data/advert.txt").decode()
    read = reading_of(tx, text, "USD", at)
    advert = read.advert(clean_value=value("5100", "5800", "6400"), distance_km=34, seen_on=at.date())
    advert = replace(advert, name="Tarnwick Linnet 1.4, 2013, blue")
    items = read.as_dict()["read"]
    car_id = add_advert(tx, advert, at=at, original=text, shown=read.text, items=items).id
    record_readings(tx, car_id, "setup", {"car": {"place": "us-wa", "maker_size": "185/60R15 84H"}}, at=at)
    return car_id


def finished_car(tx: Tx, at: datetime) -> int:
    """Tell the story of a small car with a dead starter, from advert to closed books; return its number."""
    read = reading_of(tx, FIRST_CAR, "USD", at)
    advert = read.advert(clean_value=value("2100", "2600", "3000"), distance_km=21, seen_on=at.date())
    advert = replace(advert, name="Tarnwick Pipit 1.2, 2011")
    items = read.as_dict()["read"]
    car_id = add_advert(tx, advert, at=at, original=FIRST_CAR, shown=read.text, items=items).id

    def on(days: int, hour: int = 0) -> datetime:
        return at + timedelta(days=days, hours=hour)

    buy(tx, car_id, usd("780"), at=on(2))
    book_travel(tx, car_id, Decimal("84"), "km", on(2).date(), at=on(2), what="to see and to fetch it")
    _receipt(tx, car_id, "fees", "118.00", "Title and registration", "Ostley county office", on(3), "papers")
    choose_repair(tx, car_id, "rep_starter", "new", at=on(3))
    starter = _receipt(tx, car_id, "parts", "164.90", "Starter motor", SHOP, on(4), "reserve", core="45.00")
    book_hours(tx, car_id, "unforeseen", 4.5, on(6), day=on(6).date(), line="reserve")
    finish_repair(tx, car_id, "rep_starter", at=on(6))
    book_core_return(tx, car_id, starter, on(9).date(), at=on(9))
    choose_repair(tx, car_id, "rep_rocker_gasket", "new", at=on(9))
    _receipt(tx, car_id, "parts", "63.40", "Rocker cover gasket, sealant", SHOP, on(9), "rep_rocker_gasket")
    book_hours(tx, car_id, "rep-rocker-gasket", 3.0, on(10), day=on(10).date(), line="rep_rocker_gasket")
    finish_repair(tx, car_id, "rep_rocker_gasket", at=on(10))
    measured(tx, car_id, on(11))
    book_hours(tx, car_id, "outside-work", 22.0, on(15), day=on(15).date(), line="outside-work")
    _receipt(tx, car_id, "fees", "46.00", "Inspection and cleaning things", "Ostley", on(15), "selling")
    book_hours(tx, car_id, "outside-work", 19.5, on(28), day=on(28).date(), line="outside-work")
    sell_car(tx, car_id, usd("2350"), at=on(31), fees=usd("25"), day=on(31).date(), buyer="R. Sorrel")
    close_car(tx, car_id, on(33))
    return car_id


# Front pads near their end on one side, one tyre worn at its inner edge, the left rear door painted before.
CORNERS = {
    "front left": {"pad_inner": "3.4 mm", "pad_outer": "4.1 mm", "disc": "19.61 19.62 19.61 19.62"},
    "front right": {"pad_inner": "4.4 mm", "pad_outer": "4.6 mm", "disc": "19.70 19.70 19.71 19.70"},
    "rear left": {"pad_inner": "5/32", "pad_outer": "5/32"},
    "rear right": {"pad_inner": "5/32", "pad_outer": "6/32"},
}
TREADS = {
    "front left": ("3.2", "5.1", "5.0"),
    "front right": ("4.9", "5.2", "5.0"),
    "rear left": ("5.6", "5.8", "5.6"),
    "rear right": ("5.5", "5.8", "5.7"),
}
FILMS = {
    "bonnet": "108 112 110",
    "roof": "104 106 105",
    "tailgate": "111 109 112",
    "left wing": "114 112 116",
    "right wing": "113 110 112",
    "left front door": "116 118 115",
    "right front door": "112 115 113",
    "left rear door": "212 226 204",
    "right rear door": "114 113 117",
    "left quarter": "118 121 117",
    "right quarter": "115 116 112",
    "left sill": "125 128 131",
}


def measured(tx: Tx, car_id: int, at: datetime) -> None:
    """Measure a car once round on the drive: place, four corners, twelve panels, compression, battery, drive."""
    setup = {"place": "us-wa", "maker_size": "175/65R14 82T", "coldest": "-20 C"}
    record_readings(tx, car_id, "setup", {"car": setup}, at=at)
    origin = "cast on the disc"
    set_maker_limit(tx, car_id, "disc_mm", "least", "18.5 mm", origin, spot="front", at=at)
    places = ("tread_inner", "tread_middle", "tread_outer")
    corners = {
        spot: fields | dict(zip(places, TREADS[spot], strict=True)) | {"date_code": "2221"}
        for spot, fields in CORNERS.items()
    }
    record_readings(tx, car_id, "corner", corners, at=at)
    record_readings(tx, car_id, "paint", {panel: {"film": film} for panel, film in FILMS.items()}, at=at)
    engine = {"dry": "172 168 175 170 psi", "codes": "none"}
    record_readings(tx, car_id, "engine", {"engine": engine}, at=at)
    battery = {"rest": "12.55", "rested": "9", "charge": "14.2"}
    record_readings(tx, car_id, "battery", {"battery": battery}, at=at)


def _receipt(
    tx: Tx, car_id: int, kind: str, amount: str, what: str, shop: str, at: datetime, line: str, core: str = ""
) -> int:
    """Book a receipt on the line of the estimate that it belongs to; return the entry's number."""
    deposit = usd(core) if core else None
    return book_receipt(
        tx, car_id, kind, usd(amount), what, shop, at.date(), at=at, core=deposit, line=line
    ).number
