"""The pages of what estimates became: Money, Cash to come, Lessons."""

from fastapi import APIRouter

from driveout.lessons.pages import forecast, history, money

CHAPTERS = money.CHAPTERS
api = history.api
router = APIRouter()
for part in (money, forecast, history):
    router.include_router(part.router)
