"""The pages over all cars."""

from fastapi import APIRouter

from driveout.yard.pages import ahead, rows, today

router = APIRouter()
for part in (rows, today, ahead):
    router.include_router(part.router)
