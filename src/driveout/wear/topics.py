"""What can be entered, field by field: one list for forms, own files and the printed sheet."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from driveout.cars.papers import brands, paper_checks
from driveout.errors import BadEntry
from driveout.wear.brakes import HOSE_FAULTS
from driveout.wear.compression import ESCAPES
from driveout.wear.coolant import GLYCOLS
from driveout.wear.drive_sheets import NOT_DONE, grades, sheet
from driveout.wear.limits import PLACES
from driveout.wear.paint import DEFECTS, MATERIALS, PANELS
from driveout.wear.steering import PLAY_PLACES, SUSPENSION
from driveout.wear.typed import read_quantity
from driveout.wear.tyres import CONDITIONS

CORNERS = ("front left", "front right", "rear left", "rear right")
TRIED = ("not tried", "yes", "no")
# Places to choose from; the rules of another one are typed in an own limits file.
CHOSEN_PLACES = ("", "us", "us-wa", "us-md", "eu", "gb")


@dataclass(frozen=True)
class Field:
    """One thing that can be entered.

    Parameters
    ----------
    name
        Key in forms and files.
    label
        What stands beside it.
    unit
        Unit that a bare number is in; empty for text.
    least, most
        Range outside which a reading cannot be right.
    options
        Offered values; a value starting a list of ticks when ``many``.
    many
        Several values.
    tick
        Yes or no.
    hint
        How to measure.
    group
        Heading it stands under.
    long
        Several lines of text.
    ask_below
        A bare number below this is asked about when another unit makes sense of it.
    money
        An amount in the car's currency.
    names
        Words of options that are codes.
    """

    name: str
    label: str
    unit: str = ""
    least: float | None = None
    most: float | None = None
    options: tuple[str, ...] = ()
    many: bool = False
    tick: bool = False
    hint: str = ""
    group: str = ""
    long: bool = False
    ask_below: float = 0.0
    money: bool = False
    names: Mapping[str, str] = field(default_factory=dict)

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Options with their words."""
        return tuple((option, self.names.get(option, option)) for option in self.options)


@dataclass(frozen=True)
class Topic:
    """A form's worth of fields, at each of its spots."""

    key: str
    title: str
    spots: tuple[str, ...]
    fields: tuple[Field, ...]

    def field(self, name: str) -> Field | None:
        """The field of that name, or None."""
        return next((field for field in self.fields if field.name == name), None)


def _mm(name: str, label: str, least: float, most: float, **more: Any) -> Field:
    return Field(name, label, "mm", least, most, **more)


_CORNER = (
    _mm("pad_inner", "Inner pad", 0, 20, hint="friction material only", group="Brake", ask_below=1.0),
    _mm("pad_outer", "Outer pad", 0, 20, group="Brake", ask_below=1.0),
    Field("riveted", "Measured over the rivet head", tick=True, group="Brake"),
    _mm(
        "disc",
        "Disc thickness, 4 to 12 points",
        3,
        60,
        many=True,
        hint="same radius all round, for example 23.11 23.12 23.10 23.12",
        group="Brake",
    ),
    _mm("tread_inner", "Tread, inner", 0, 22, hint="4/32 or 4 mm", group="Tyre", ask_below=1.0),
    _mm("tread_middle", "Tread, middle", 0, 22, group="Tyre", ask_below=1.0),
    _mm("tread_outer", "Tread, outer", 0, 22, group="Tyre", ask_below=1.0),
    Field("date_code", "Date code", hint="last four digits of the full code, for example 3518", group="Tyre"),
    Field("cupped", "Cupped", tick=True, group="Tyre"),
    Field("feathered", "Feathered", tick=True, group="Tyre"),
    Field("tyre_seen", "Tyre", options=CONDITIONS, many=True, group="More about this corner"),
    Field("tyre_size", "Size on the side", hint="205/55R16 91V", group="More about this corner"),
    Field("grading", "Grading", hint="400 A A", group="More about this corner"),
    Field("tread_km", "Driven on this tyre", "km", 0, 300_000, group="More about this corner"),
    _mm("tread_new", "Tread when new", 3, 22, group="More about this corner"),
    Field(
        "pad_km",
        "Driven on these pads",
        "km",
        0,
        300_000,
        hint="when no earlier reading is kept",
        group="More about this corner",
    ),
    _mm("pad_new", "Pad when new", 4, 20, group="More about this corner"),
    Field("renewed", "Parts renewed since the last reading", tick=True, group="More about this corner"),
    _mm("disc_new", "Disc when new", 5, 60, group="More about this corner"),
    _mm("micrometer", "Smallest step of the micrometer", 0.0005, 0.2, group="More about this corner"),
    _mm("runout", "Disc runout, on the car", 0, 2, group="More about this corner", ask_below=0.008),
    _mm("scores", "Depth of scores", 0, 5, group="More about this corner"),
    _mm("drum", "Drum diameter", 120, 400, group="More about this corner"),
    _mm("pipe_loss", "Steel brake pipe, wall lost", 0, 2, group="More about this corner"),
    Field("hose", "Brake hose", options=HOSE_FAULTS, many=True, group="More about this corner"),
    Field("hose_cords", "Cords of the hose show", tick=True, group="More about this corner"),
    _mm("play", "Play at the tread", 0, 60, group="More about this corner", ask_below=0.6),
    Field("joint", "Joint seen to move", options=("", *PLAY_PLACES), group="More about this corner"),
    Field("suspension", "Suspension", options=SUSPENSION, many=True, group="More about this corner"),
    _mm("rim_lateral", "Rim runout sideways", 0, 15, group="More about this corner"),
    _mm("rim_radial", "Rim runout up and down", 0, 15, group="More about this corner"),
    Field("nuts_missing", "Wheel nuts missing", "count", 0, 10, group="More about this corner"),
    Field("nuts_loose", "Wheel nuts loose", "count", 0, 10, group="More about this corner"),
)
_PAINT = (
    Field("film", "Film", "um", 5, 5000, many=True, hint="several points, edges left out", ask_below=30),
    Field("material", "Material", options=MATERIALS),
    Field("flaw", "Flaw", options=("", *DEFECTS)),
    Field("nail", "Nail catches", options=TRIED),
    Field("wet", "Gone when wet", options=TRIED),
    Field("depth", "Depth of the flaw", "um", 0, 500),
    Field("uplift", "A buyer pays more for it made good", money=True, group="Is it worth it?"),
    Field("discount", "A buyer takes off for it shown openly", money=True, group="Is it worth it?"),
    Field("level_hours", "Own hours to polish", "hours", 0, 100, group="Is it worth it?"),
    Field("supplies", "Material", money=True, group="Is it worth it?"),
    Field("hour_worth", "An own hour is worth", money=True, group="Is it worth it?"),
    Field("painter", "Painting it costs", money=True, group="Is it worth it?"),
    Field("paint_hours", "Own hours to have it painted", "hours", 0, 100, group="Is it worth it?"),
)
_PASSES = (
    Field(
        "step",
        "What with",
        options=("polish", "P800", "P1000", "P1200", "P1500", "P2000", "P2500", "P3000", "P5000"),
    ),
    Field("passes", "Passes", "count", 1, 50),
    Field("panel", "On which panel", options=("", *PANELS), hint="what came off there counts in its budget"),
    Field("before", "Before, same spot", "um", 5, 1000, many=True, ask_below=30),
    Field("after", "After, same spot", "um", 5, 1000, many=True, ask_below=30),
)
_ENGINE = (
    Field(
        "dry",
        "Compression, every cylinder in order",
        "kpa",
        0,
        8000,
        many=True,
        hint="150 148 152 147 psi",
        group="Compression",
        ask_below=400,
    ),
    Field(
        "wet",
        "Again with 15 ml of oil",
        "kpa",
        0,
        8000,
        many=True,
        hint="cylinder:value, for example 3:140 psi",
        group="Compression",
    ),
    Field(
        "leak",
        "Leak-down by cylinder",
        "percent",
        0,
        100,
        many=True,
        hint="cylinder:percent, for example 1:8 3:35",
        group="Leak-down",
    ),
    Field("escape", "Where the air leaves", options=("", *ESCAPES), group="Leak-down"),
    Field("oil_pressure", "Oil pressure, hot", "kpa", 0, 1500, group="Pressure", ask_below=150),
    Field("oil_rpm", "at", "rpm", 300, 8000, group="Pressure"),
    Field("cooling_drop", "Cooling system, pressure lost", "kpa", 0, 250, group="Pressure"),
    Field("cooling_minutes", "in", "minutes", 0.5, 120, group="Pressure"),
    Field("plug_hole", "Look through the plug hole", long=True, group="Seen"),
    Field("oil_glitter", "Metal glitter in the oil", options=TRIED, group="Seen"),
    Field("oil_cream", "Cream under the oil cap", options=TRIED, group="Seen"),
    Field(
        "codes",
        "Trouble codes",
        long=True,
        hint="typed or pasted from any reader, none if there is none; through an adapter: driveout codes CAR --port PORT",
        group="Codes",
    ),
    Field("reply", "Adapter's bytes", hint="43 01 33 00 00 00 00", group="Codes"),
    Field("not_ready", "Two or more monitors not complete", tick=True, group="Codes"),
)
_BATTERY = (
    Field("rest", "At rest", "v", 5, 15.5),
    Field("rested", "Rested for", "hours", 0, 1000),
    Field("kind", "Kind", options=("flooded", "glass mat")),
    Field("crank", "While cranking", "v", 2, 14),
    Field("charge", "Running, lights on", "v", 8, 20),
    Field("drain", "Current asleep", "ma", 0, 20_000, ask_below=5),
    Field("waited", "measured after", "minutes", 0, 600),
    Field("capacity", "Capacity", "ah", 20, 150),
)
_FLUIDS = (
    Field(
        "glycol_percent", "Glycol", "percent", 0, 100, hint="by volume, from a refractometer", group="Coolant"
    ),
    Field("glycol", "Kind", options=GLYCOLS, group="Coolant"),
    Field("coolant_bad", "Low, oily, rusty, plain water or crumbs", options=TRIED, group="Coolant"),
    Field("system", "System holds", "l", 1, 30, group="Coolant"),
    Field("wanted_percent", "Wanted", "percent", 1, 70, group="Coolant"),
    Field("drained", "One drain gives", "l", 0.2, 30, group="Coolant"),
    Field("fluid", "Brake fluid", options=("", "DOT 3", "DOT 4", "DOT 5", "DOT 5.1"), group="Brake fluid"),
    Field("water", "Water in it", "percent", 0, 10, group="Brake fluid"),
    Field("fluid_low", "Level low", tick=True, group="Brake fluid"),
    Field("fluid_black", "Black", tick=True, group="Brake fluid"),
    Field("steer_bad", "Steering fluid low, dark or foamy", options=TRIED, group="Other"),
    Field("oil_low", "Engine oil at or below minimum", options=TRIED, group="Other"),
)
_STEERING = (
    _mm("lash", "Lash at the rim", 0, 300, group="Steering", ask_below=6),
    _mm("wheel", "Steering wheel diameter", 250, 560, group="Steering"),
    Field("power", "Power assisted", options=("yes", "no"), group="Steering"),
    Field("engine_on", "Measured with the engine on", options=("yes", "no"), group="Steering"),
    Field("binds", "Binds between the locks", options=TRIED, group="Steering"),
    Field("toe", "Toe, measured", "deg", -10, 10, group="Steering"),
    Field("toe_spec", "Toe, maker's value", "deg", -10, 10, group="Steering"),
    _mm("pedal_free", "Brake pedal over the floor, free", 50, 300, group="Pedal"),
    _mm("pedal_pressed", "held down hard for 10 s", 0, 300, group="Pedal"),
    Field("sinks", "It went on sinking, or the lamp lit", options=TRIED, group="Pedal"),
    Field("servo", "Drops when the engine starts", options=TRIED, group="Pedal"),
    _mm("height_fl", "Arch height front left", 300, 1200, group="Ride height"),
    _mm("height_fr", "front right", 300, 1200, group="Ride height"),
    _mm("height_rl", "rear left", 300, 1200, group="Ride height"),
    _mm("height_rr", "rear right", 300, 1200, group="Ride height"),
    Field("difference", "Left to right difference", "percent", 0, 100, group="Print of a brake tester"),
    Field("efficiency", "Service brake efficiency", "percent", 0, 120, group="Print of a brake tester"),
    Field("parking", "Parking brake efficiency", "percent", 0, 120, group="Print of a brake tester"),
)
_TYRE_SETS = (
    Field("used_price", "Used set, fitted", money=True),
    _mm("used_tread", "its tread", 0, 22, ask_below=1.0),
    Field("new_price", "New set, fitted", money=True),
    _mm("new_tread", "its tread", 3, 22),
)
_PAPERS = (
    Field("odometer", "Odometer values, one a line", hint="2019-05-04 61000 km inspection", long=True),
    Field("vin_read", "Number told by the control unit", hint="read by an adapter or any reader"),
    Field("brand", "Title brand", options=("", *(b.name for b in brands()))),
    *(
        Field(f"paper_{check.key}", check.do, options=("not looked", "true", "not true"))
        for check in paper_checks()
        if check.key != "odometer"
    ),
)
_SETUP = (
    Field(
        "place",
        "Where it is used and sold",
        options=CHOSEN_PLACES,
        hint="rules of this place are applied",
        names=PLACES | {"": "not said"},
    ),
    Field("drive", "Driven wheels", options=("two", "all")),
    Field("maker_size", "Tyre size on the maker's plate", hint="205/55R16 91V"),
    Field("altitude", "Height above the sea", "m", -500, 6000),
    Field("coldest", "Coldest weather to stand", "c", -60, 20),
    Field(
        "fluid_asked", "Brake fluid the maker asks for", options=("", "DOT 3", "DOT 4", "DOT 5", "DOT 5.1")
    ),
)


def _drive(name: str) -> tuple[Field, ...]:
    return tuple(Field(leg.key, leg.do, options=(NOT_DONE, *grades())) for leg in sheet(name))


TOPICS: dict[str, Topic] = {
    topic.key: topic
    for topic in (
        Topic("corner", "Corner: brake, tyre, wheel", CORNERS, _CORNER),
        Topic("paint", "Paint", PANELS, _PAINT),
        Topic("passes", "Own sanding and polishing", ("own",), _PASSES),
        Topic("engine", "Engine", ("engine",), _ENGINE),
        Topic("battery", "Battery and charging", ("battery",), _BATTERY),
        Topic("fluids", "Fluids", ("fluids",), _FLUIDS),
        Topic("steering", "Steering and pedal", ("steering",), _STEERING),
        Topic("tyre_sets", "Price of tyres", ("tyres",), _TYRE_SETS),
        Topic("papers", "Papers", ("papers",), _PAPERS),
        Topic("test_drive", "Test drive", ("drive",), _drive("test_drive")),
        Topic("first_drive", "First drive after work", ("drive",), _drive("first_drive")),
        Topic("setup", "About this car", ("car",), _SETUP),
    )
}


def topic(key: str) -> Topic:
    """Return a topic, or refuse a word that is none."""
    if key not in TOPICS:
        raise BadEntry(
            f"{key!r} is not a topic of readings.", field="topic", value=key, allowed=", ".join(TOPICS)
        )
    return TOPICS[key]


def read_entries(topic_key: str, spot: str, entries: Mapping[str, str]) -> dict[str, Any]:
    """Read what was typed for one spot; empty fields are left out.

    Parameters
    ----------
    topic_key
        Topic.
    spot
        Spot of that topic.
    entries
        Text by field name; ticks as any text, several values separated by spaces.

    Returns
    -------
    dict
        Numbers in the field's unit, tuples of them, texts, True for ticks.

    Raises
    ------
    BadEntry
        If a topic, spot, field or value is none; the field is named.
    """
    of = topic(topic_key)
    if spot not in of.spots:
        raise BadEntry(
            f"{spot!r} is not a spot of {of.title}.", field="spot", value=spot, allowed=", ".join(of.spots)
        )
    values: dict[str, Any] = {}
    for name, text in entries.items():
        field = of.field(name)
        if field is None:
            raise BadEntry(
                f"{name!r} is not a field of {of.title}.",
                field=name,
                value=name,
                allowed=", ".join(f.name for f in of.fields),
            )
        if text.strip():
            value = _value(field, text.strip())
            if value is not None:
                values[name] = value
    return values


def _value(field: Field, text: str) -> Any:
    if field.tick:
        if text.lower() in ("no", "false", "0"):
            return None
        return True
    if field.options and field.many:
        chosen = tuple(part.strip() for part in re.split(r"[;,|]", text) if part.strip())
        for part in chosen:
            _demand_option(field, part)
        return chosen
    if field.options:
        _demand_option(field, text)
        return None if text in ("not tried", "not looked", NOT_DONE) else text
    if field.name in ("wet", "leak") and field.many:
        return _by_cylinder(field, text)
    if field.many:
        return tuple(_number(field, part) for part in split_values(text))
    if field.unit:
        return _number(field, text)
    if len(text) > 4000:
        raise BadEntry(f"{field.label}: at most 4,000 characters are kept.", field=field.name)
    return text


def _demand_option(field: Field, text: str) -> None:
    if text not in field.options:
        raise BadEntry(
            f"{field.label}: {text[:40]!r} is not offered.",
            field=field.name,
            value=text[:40],
            allowed=", ".join(option for option in field.options if option),
        )


def _number(field: Field, text: str) -> float:
    value = read_quantity(
        text,
        field.unit,
        field=field.name,
        name=field.label,
        least=field.least,
        most=field.most,
        ask_below=field.ask_below,
    )
    if field.unit == "count" and value != int(value):
        raise BadEntry(f"{field.label}: {text} is not a whole number.", field=field.name, value=text)
    return value


_ITEM = re.compile(r"(\d+(?:[.,]\d+)?(?:/\d+)?)\s*([a-zµμ%\"°][a-z0-9/%°]*)?", re.IGNORECASE)


def split_values(text: str) -> tuple[str, ...]:
    """Split a list of readings; a unit behind the last one holds for all that have none.

    Parameters
    ----------
    text
        Values separated by spaces, commas or semicolons.

    Returns
    -------
    tuple of str
        Each value with its unit.

    Raises
    ------
    BadEntry
        If it is no list of values.

    Examples
    --------
    >>> split_values("150 148, 152 147 psi")
    ('150 psi', '148 psi', '152 psi', '147 psi')
    """
    plain = text.strip()
    if re.fullmatch(r"\d+(,\d+){2,}\D*", plain):
        plain = plain.replace(",", " ")
    items = _ITEM.findall(plain)
    if not items or re.sub(r"[\s;,]+", "", _ITEM.sub("", plain)):
        raise BadEntry(
            f"{plain[:60]!r} is not a list of values. Separate them with spaces, a unit behind the last.",
            value=plain[:60],
        )
    last_unit = items[-1][1]
    return tuple(f"{number} {unit or last_unit}".strip() for number, unit in items)


def _by_cylinder(field: Field, text: str) -> dict[int, float]:
    pairs = re.findall(r"(\d{1,2})\s*[:=]\s*([^:=]+?)(?=\s+\d{1,2}\s*[:=]|$)", text)
    if not pairs:
        raise BadEntry(
            f"{field.label}: write cylinder:value, for example 3:140 psi.",
            field=field.name,
            value=text[:40],
            allowed="cylinder:value",
        )
    unit = re.search(r"[a-z%]+\s*$", text.strip(), re.IGNORECASE)
    return {
        int(cylinder): _number(
            field,
            value.strip(" ,;")
            if not value.strip(" ,;")[-1].isdigit() or not unit
            else f"{value.strip(' ,;')} {unit[0]}",
        )
        for cylinder, value in pairs
    }
