"""The pages over all cars, and Looking back, which needs the viewing to say what a check was worth."""

from fastapi import APIRouter

from driveout.yard.pages import ahead, lookback, rows, today

CHAPTERS = lookback.CHAPTERS
router = APIRouter()
for part in (rows, today, ahead, lookback):
    router.include_router(part.router)
