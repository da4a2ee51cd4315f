"""The pages of what estimates became: Money, Cash to come, Looking back, Lessons."""

from fastapi import APIRouter

from driveout.lessons.pages import forecast, history, lookback, money

CHAPTERS = (*money.CHAPTERS, *lookback.CHAPTERS)
api = history.api
router = APIRouter()
for part in (money, forecast, lookback, history):
    router.include_router(part.router)
