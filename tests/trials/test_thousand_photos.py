"""A car with a thousand photos still opens at once, is copied and prints within bounds."""

from __future__ import annotations

import io
import statistics
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import Image

from driveout.cars.actions import add_car
from driveout.money.actions import book_receipt, keep_photo
from driveout.selling.actions import add_photo as show_the_buyer
from driveout.selling.photos import MOST_PHOTOS
from driveout.store import Store, open_store, restore
from driveout.units import Money
from driveout.workshop import actions as workshop
from tests.conftest import Browser, Clock
from tests.trials.programs import answer_of

BY_HAND = 60
PHOTOS = 1000


def a_photo(number: int) -> bytes:
    """A small JPEG of noise, as heavy per pixel as a real one, each different."""
    noise = np.random.default_rng(number).integers(0, 255, (60, 80, 3), dtype=np.uint8)
    out = io.BytesIO()
    Image.fromarray(noise).save(out, "JPEG", quality=85)
    return out.getvalue()


def seconds(browser: Browser, path: str) -> float:
    times = []
    for _ in range(3):
        began = time.perf_counter()
        browser.get(path)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def test_a_thousand_photos(
    store: Store,
    clock: Clock,
    browser: Browser,
    tmp_path: Path,
    record_url: str | None,
    counted: Callable[..., None],
) -> None:
    with store.writing() as tx:
        car = add_car(tx, name="Linnet", currency="USD", at=clock(), stage="in work").id
        few = add_car(tx, name="Pipit", currency="USD", at=clock(), stage="in work").id
        job = workshop.start_work(tx, car, "brakes_front_disc", ["pads_only"], at=clock())
        other = workshop.start_work(tx, few, "brakes_front_disc", ["pads_only"], at=clock())
        photo = a_photo(0)
        workshop.add_photo(tx, few, other.id, "wheel_nuts", photo, home=store.home, at=clock())
    for number in range(BY_HAND):
        fields = {"link": "wheel_nuts", "title": f"photo {number}"}
        files = {"photo": ("p.jpg", a_photo(number), "image/jpeg")}
        browser.post(f"/cars/{car}/work/{job.id}/photo", fields, files)
    number = BY_HAND
    while number < PHOTOS:
        with store.writing() as tx:
            for _ in range(47):
                data, at, amount = a_photo(number), clock(), Money(100 + number, "USD")
                if number < BY_HAND + MOST_PHOTOS:
                    show_the_buyer(tx, store.home, car, data, subject="whole car", at=at)
                elif number % 2:
                    workshop.add_photo(tx, car, job.id, "wheel_nuts", data, home=store.home, at=at)
                else:
                    kept = keep_photo(store.home, data)
                    book_receipt(
                        tx, car, "parts", amount, f"receipt {number}", "", at.date(), at=at, photo=kept
                    )
                number += 1

    slowest = {}
    for name, path in (
        ("work", f"work/{job.id}/bench"),
        ("sale", "sale"),
        ("money", "money"),
        ("trail", "trail"),
    ):
        slowest[name] = seconds(browser, f"/cars/{car}/{path}")
        assert slowest[name] < 2.0, (name, slowest[name])
    found = answer_of("printing", store.home, record_url or "-", car)
    assert found["archive_peak_mb"] < found["opened_peak_mb"] + 60
    assert found["print_peak_mb"] < found["opened_peak_mb"] + 300
    assert found["pdf_kb"] > 50
    other_home = open_store(f"sqlite:///{tmp_path / 'o.db'}", tmp_path / "o")
    assert restore(store.home / "whole.zip", other_home)["attachments"] == PHOTOS
    other_home.close()
    pages = {f"{name}_page_ms": round(took * 1000) for name, took in slowest.items()}
    counted("a car with a thousand photos", photos=PHOTOS, **pages, **found)
