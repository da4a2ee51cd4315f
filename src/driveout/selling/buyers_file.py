"""The buyer's file: what the record holds about the car, as a PDF to hand over.

Private data stay out: no names of shops or people, no addresses, no price paid, no profit, and no tag in a
photo. Wording that has legal force is left to the local form; this file states facts.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from driveout.files import shipped
from driveout.selling.listing import ListingFacts
from driveout.selling.photos import Photo
from driveout.units import miles_from_km


@dataclass(frozen=True)
class JudgedReading:
    """A reading as the buyer sees it: what, value, verdict, and the limit with where it comes from."""

    what: str
    shown: str
    verdict: str
    limit: str


@dataclass(frozen=True)
class BuyersFile:
    """Everything that goes into the file.

    Attributes
    ----------
    facts
        What the advert's text is made from.
    vin
        Identification number as recorded.
    receipts
        Day and kind of work of each receipt, without shop and price.
    odometer
        Fact on the odometer disclosure, empty when the year is not known.
    on
        Day it was made.
    readings
        Readings with their verdicts.
    tightened
        Tightening values applied, each with the origin of its specification.
    photos
        Photos in the order a buyer looks.
    """

    facts: ListingFacts
    vin: str
    receipts: tuple[str, ...]
    odometer: str
    on: date
    readings: tuple[JudgedReading, ...] = ()
    tightened: tuple[str, ...] = ()
    photos: tuple[Photo, ...] = ()


def car_rows(facts: ListingFacts, vin: str) -> list[tuple[str, str]]:
    """Name and value of what identifies the car, for every printed paper."""
    rows = [("Model", facts.name)]
    if facts.made_year is not None:
        rows.append(("Year", str(facts.made_year)))
    if vin:
        rows.append(("Identification number", vin))
    if facts.mileage_km is not None:
        rows.append(
            ("Odometer", f"{facts.mileage_km:,.0f} km ({miles_from_km(facts.mileage_km):,.0f} miles)")
        )
    rows.append(("Title", facts.title or "not recorded"))
    return rows


def buyers_file_pdf(file: BuyersFile, pictures: Mapping[str, str] | None = None, folder: str = "") -> bytes:
    """The file as PDF, A4.

    Every text goes in as data, so that nothing typed by a person is read as markup.

    Parameters
    ----------
    file
        What to print.
    pictures
        File name inside ``folder`` by digest; a photo that is missing here is named without picture.
    folder
        Folder of the pictures.

    Returns
    -------
    bytes
        A PDF.
    """
    facts = file.facts
    rows = car_rows(facts, file.vin)
    if facts.options:
        rows.append(("Equipment", ", ".join(facts.options)))
    data = {
        "name": facts.name,
        "rows": rows,
        "done": facts.done,
        "remains": facts.remains,
        "readings": [[r.what, r.shown, r.verdict, r.limit] for r in file.readings],
        "tightened": file.tightened,
        "receipts": file.receipts,
        "odometer": file.odometer,
        "photos": [
            {
                "file": (pictures or {}).get(photo.digest, ""),
                "words": ": ".join(part for part in (photo.subject, photo.caption) if part),
                "on": photo.at.date().isoformat(),
            }
            for photo in file.photos
        ],
        "on": file.on.isoformat(),
    }
    return printed("data/buyers_file.typ", data, folder)


def printed(template: str, data: Mapping[str, object], folder: str = "") -> bytes:
    """A shipped template filled with data, as PDF; pictures are looked for in ``folder`` only."""
    import typst  # heavy: only when printing

    compiled: Any = typst.compile  # its types ask for root and source of one kind
    source = shipped("driveout.selling", template)
    return bytes(compiled(source, sys_inputs={"file": json.dumps(data)}, root=folder or None))
