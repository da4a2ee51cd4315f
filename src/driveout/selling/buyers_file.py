"""The buyer's file: what the record holds about the car, as a PDF to hand over.

Private data stay out: no shop names, prices paid or addresses. Wording that has legal force is left to the
local form; this file states facts.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import date

from driveout.files import shipped
from driveout.selling.listing import ListingFacts
from driveout.units import miles_from_km


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
    """

    facts: ListingFacts
    vin: str
    receipts: tuple[str, ...]
    odometer: str
    on: date


def buyers_file_pdf(file: BuyersFile) -> bytes:
    """The file as PDF, A4.

    Every text goes in as data, so that nothing typed by a person is read as markup.

    Parameters
    ----------
    file
        What to print.

    Returns
    -------
    bytes
        A PDF.
    """
    import typst  # heavy: only when printing

    facts = file.facts
    rows = [["Model", facts.name]]
    if facts.made_year is not None:
        rows.append(["Year", str(facts.made_year)])
    if file.vin:
        rows.append(["Identification number", file.vin])
    if facts.mileage_km is not None:
        rows.append(["Clock", f"{facts.mileage_km:,.0f} km ({miles_from_km(facts.mileage_km):,.0f} miles)"])
    rows.append(["Title", facts.title or "not recorded"])
    if facts.options:
        rows.append(["Equipment", ", ".join(facts.options)])
    data = {
        **{key: value for key, value in asdict(facts).items() if key in ("done", "measured", "remains")},
        "name": facts.name,
        "rows": rows,
        "receipts": file.receipts,
        "odometer": file.odometer,
        "on": file.on.isoformat(),
    }
    template = shipped("driveout.selling", "data/buyers_file.typ")
    return bytes(typst.compile(template, sys_inputs={"file": json.dumps(data)}))
