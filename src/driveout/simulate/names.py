"""Invented makes, towns, people and shops. None of them exists."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Model:
    """An invented model of an invented make.

    Parameters
    ----------
    make, name
        What stands on the tailgate.
    new_price
        Price when new. [major units]
    drive
        ``fwd`` or ``rwd``.
    first_year
        First model year.
    """

    make: str
    name: str
    new_price: int
    drive: str = "fwd"
    first_year: int = 2006


MODELS = (
    Model("Tarnwick", "Linnet 1.4", 16_400),
    Model("Tarnwick", "Pipit 1.2", 13_200),
    Model("Tarnwick", "Siskin 1.6", 19_100),
    Model("Harrowell", "Cobden 2.0", 22_700),
    Model("Harrowell", "Cobden estate 2.0", 24_300),
    Model("Harrowell", "Mercer 2.5", 27_900, "rwd"),
    Model("Ombersley", "Quarto 1.5", 17_600),
    Model("Ombersley", "Folio 1.8", 20_200),
    Model("Pellerin", "Ardoise 1.3", 14_900),
    Model("Pellerin", "Galet 1.6", 18_300),
    Model("Strandvik", "Holm 2.0", 25_600),
    Model("Strandvik", "Skerry 1.8", 21_400, "rwd"),
)
TOWNS = (
    "Brackenford", "Ostley", "Wexcombe", "Tollmarsh", "Nether Quoy", "Hallam Ferry", "Cinderby", "Osgood Mills",
    "Larkhope", "Pennock", "Steepholt", "Ravelin",
)  # fmt: skip
SELLERS = (
    "Odalys Quist", "T. Marrable", "Ines Vantongeren", "P. Hollowell", "Ruthanne Obi", "G. Sturtevant",
    "Milo Carrick", "Yusra Delacourt", "W. Penwarden", "Hester Lindqvist",
)  # fmt: skip
BUYERS = (
    "M. Penhalow", "R. Sorrel", "A. Trelawn", "J. Okonjo-Bell", "S. Varga", "D. Winterbourne", "L. Castellan",
    "K. Umber", "E. Fairholm", "N. Aldous",
)  # fmt: skip
SHOPS = (
    "Quillan Motor Factors", "Ostley Auto Breakers", "Marl Street Parts", "Hensby Tyre Yard", "Corvane Radiators",
    "Tollmarsh Engine Works",
)  # fmt: skip
COLOURS = ("blue", "silver", "white", "dark green", "red", "grey", "black", "ochre")
SUPPLIES = (
    ("Brake cleaner", "cans", 12, 5400),
    ("Engine oil 5W-30", "litres", 20, 9800),
    ("Shop towels", "rolls", 6, 2700),
    ("Threadlocker and sealant", "tubes", 4, 4300),
)
REASONS_TO_LET_GO = (
    "price above the walk-away price",
    "structural rust at the sill",
    "seller sold it to somebody else",
    "title not in the seller's name",
)
