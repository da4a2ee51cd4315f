"""Buy or walk: read an advert, weigh it, sift many, decide which car to go and see first."""

from driveout.hunt.advert import Advert, MoneyRange, Question, Seller, Symptom, held_to_today, unusual
from driveout.hunt.advert_file import advert_data, advert_from_document, advert_from_file, advert_text
from driveout.hunt.bid import Bid, bid_against_least_price, least_price_from_asking
from driveout.hunt.order import Trip, day_round, look_index, own_wage, shrunk, visiting_order
from driveout.hunt.phrases import network_phrases, pack_phrases
from driveout.hunt.reader import ReadAdvert, read_advert
from driveout.hunt.setting import Setting
from driveout.hunt.sift import Sifted, adverts_of_table, ranked, sifted
from driveout.hunt.weigh import Weighing, weigh, weighing_as_data

__all__ = [
    "Advert",
    "Bid",
    "MoneyRange",
    "Question",
    "ReadAdvert",
    "Seller",
    "Setting",
    "Sifted",
    "Symptom",
    "Trip",
    "Weighing",
    "advert_data",
    "advert_from_document",
    "advert_from_file",
    "advert_text",
    "adverts_of_table",
    "bid_against_least_price",
    "day_round",
    "held_to_today",
    "least_price_from_asking",
    "look_index",
    "network_phrases",
    "own_wage",
    "pack_phrases",
    "ranked",
    "read_advert",
    "shrunk",
    "sifted",
    "unusual",
    "visiting_order",
    "weigh",
    "weighing_as_data",
]
