"""The pages over all cars."""

from fastapi import APIRouter

from driveout.yard.pages import rows, today

router = APIRouter()
for part in (rows, today):
    router.include_router(part.router)
