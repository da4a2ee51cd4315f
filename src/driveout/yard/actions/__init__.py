"""What the yard reads from the record: rows, today's list, the time ahead, and what a car taught."""

from driveout.yard.actions.ahead import Typed, YardAhead, yard_ahead
from driveout.yard.actions.rows import YardRow, next_for, rows_of_the_yard, situation_of
from driveout.yard.actions.today import TodayList, cars_now, list_for_today

__all__ = [
    "TodayList",
    "Typed",
    "YardAhead",
    "YardRow",
    "cars_now",
    "list_for_today",
    "next_for",
    "rows_of_the_yard",
    "situation_of",
    "yard_ahead",
]
