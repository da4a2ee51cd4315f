"""Printed cards and labels, read back from the PDF with other programs."""

from __future__ import annotations

import datetime
import shutil
import subprocess
from pathlib import Path

import numpy as np
import pytest
import segno

from driveout.errors import BadEntry
from driveout.workshop import StripPlan, shipped_assembly, specification, strip
from driveout.workshop.assembly import BAGGED
from driveout.workshop.cards import cards_pdf, job_cards
from driveout.workshop.labels import bag_labels, code_squares, labels_pdf

DAY = datetime.date(2026, 5, 4)
CAR = "Tarnwick Linnet 1.4"
INCH_MM = 25.4


@pytest.fixture(scope="module")
def clutch() -> StripPlan:
    return strip(shipped_assembly("clutch_front_drive"), ["clutch"])


def tool(name: str) -> str:
    path = shutil.which(name)
    if not path:
        pytest.fail(f"{name} of poppler-utils is missing: run the tests with  python3 dev.py test")
    return path


def words_of(pdf: bytes, *options: str) -> str:
    done = subprocess.run([tool("pdftotext"), *options, "-", "-"], input=pdf, capture_output=True, check=True)
    return " ".join(done.stdout.decode().split())


def page_of(pdf: bytes, folder: Path, dots_per_inch: int) -> np.ndarray:
    """First page as grey values, by another program than the one that drew it."""
    (folder / "page.pdf").write_bytes(pdf)
    words = ["-r", str(dots_per_inch), "-f", "1", "-l", "1", "-gray", "-singlefile", str(folder / "page.pdf")]
    subprocess.run([tool("pdftoppm"), *words, str(folder / "page")], check=True)
    data = (folder / "page.pgm").read_bytes()
    _, size, _, pixels = data.split(b"\n", 3)
    width, height = (int(number) for number in size.split())
    return np.frombuffer(pixels, np.uint8).reshape(height, width)


def test_a_card_says_what_to_undo_its_size_count_bag_and_place(clutch: StripPlan) -> None:
    text = words_of(cards_pdf([job_cards(clutch, CAR, DAY)]))

    assert "Undo: Gearbox mount bolts" in text
    assert "4 × bolt, M8, 13 mm · from above" in text
    assert "cannot be seen" in text
    assert "two people" in text
    assert "1 pc clutch kit" in text
    assert all(task.text.split(":")[-1].strip()[:12] in text for task in clutch.tasks if task.kind == "step")


def test_the_hold_point_before_the_draw_lists_every_link_that_crosses(clutch: StripPlan) -> None:
    text = words_of(cards_pdf([job_cards(clutch, CAR, DAY)]))
    stop = text.split("STOP. What still holds it?")[1].split("passed")[0]

    for link in clutch.assembly.crossing("gearbox"):
        assert f"Free: {link.name}" in stop, link.id
    assert "Torch and mirror all round the gearbox" in stop


def test_every_opened_link_has_one_box_in_the_hold_points_of_the_way_back(clutch: StripPlan) -> None:
    cards = job_cards(clutch, CAR, DAY)
    boxes = [
        box["text"]
        for phase in cards.phases
        for card in phase["cards"]
        if card["event"]
        for box in card["boxes"]
    ]

    for link in clutch.links:
        assert sum(text.startswith(f"Back: {link.name}") for text in boxes) == 1, link.id


def test_a_value_that_is_not_confirmed_never_prints_without_its_warning(clutch: StripPlan) -> None:
    recalled = specification("25 N·m", origin="recalled", size="M8")
    sure = specification("60 N·m", origin="confirmed", document="Manual", page="3-12", second_look="60 N·m")
    text = words_of(
        cards_pdf([job_cards(clutch, CAR, DAY, {"cover_bolts": recalled, "ball_joint_left": sure})])
    )
    cover = text.split("Put back: clutch cover")[1].split("STOP")[0]
    joint = text.split("Put back: Left lower ball joint")[1].split("Put back")[0]
    mount = text.split("Put back: Gearbox mount bolts")[1].split("Put back")[0]

    assert "25 N·m (18 lbf·ft)" in cover
    assert "Not confirmed (from memory)" in cover
    assert "60 N·m (44 lbf·ft) [Manual, page 3-12]" in joint
    assert "Not confirmed" not in joint
    assert "No value entered: look it up in the maker's instructions." in mount


def test_cautions_stand_on_the_first_page_with_their_source(clutch: StripPlan) -> None:
    text = words_of(cards_pdf([job_cards(clutch, CAR, DAY)]), "-l", "1")

    assert "CAUTION: Jack and stands" in text
    assert "[wac-296-307-22509]" in text


def test_what_a_person_types_is_printed_as_typed_and_never_read_as_markup(clutch: StripPlan) -> None:
    typed = '#panic("x") *bold* $x^2$ <b> \\ "quoted" #read("/etc/passwd")'
    text = words_of(cards_pdf([job_cards(clutch, typed, DAY)]), "-l", "1")

    assert '#panic("x") *bold* $x^2$ <b> \\ "quoted" #read("/etc/passwd")' in text


@pytest.mark.parametrize(("paper", "width_mm", "height_mm"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_the_paper_has_its_size_and_the_same_cards_the_same_bytes(
    clutch: StripPlan, paper: str, width_mm: float, height_mm: float, tmp_path: Path
) -> None:
    # source: ISO 216 (A4); ANSI/ASME Y14.1 (Letter, 8.5 x 11 in)
    cards = [job_cards(clutch, CAR, DAY)]
    labels = bag_labels(clutch, CAR, lambda link: f"http://localhost:8321/{link}")
    for pdf, again in (
        (cards_pdf(cards, paper), cards_pdf(cards, paper)),
        (labels_pdf(labels, DAY, paper), labels_pdf(labels, DAY, paper)),
    ):
        height, width = page_of(pdf, tmp_path, 72).shape

        assert pdf == again
        assert (width, height) == (
            pytest.approx(width_mm / INCH_MM * 72, abs=1),
            pytest.approx(height_mm / INCH_MM * 72, abs=1),
        )


def test_a_paper_that_nobody_has_is_refused(clutch: StripPlan) -> None:
    with pytest.raises(BadEntry, match="not a paper"):
        cards_pdf([job_cards(clutch, CAR, DAY)], "a9")
    with pytest.raises(BadEntry, match="no work to print"):
        cards_pdf([])
    with pytest.raises(BadEntry, match="Nothing of this work"):
        labels_pdf((), DAY)


def test_every_bag_has_its_label(clutch: StripPlan) -> None:
    labels = bag_labels(clutch, CAR, lambda link: f"http://localhost:8321/{link}")
    text = words_of(labels_pdf(labels, DAY))

    assert [label.bag for label in labels] == list(range(1, len(labels) + 1))
    assert len(labels) == sum(link.kind in BAGGED for link in clutch.links)
    assert "2 × bolt, M8, 13 mm" in text
    assert "back for the first start" in text


def test_the_code_on_the_sheet_is_the_address_square_by_square(clutch: StripPlan, tmp_path: Path) -> None:
    # source: segno, an independent writer of ISO/IEC 18004 codes, run here on the expected address
    labels = bag_labels(
        clutch, CAR, lambda link: f"http://192.168.1.20:8321/cars/1/work/1/bench?task=on:{link}"
    )
    first = labels[0].address
    page = page_of(labels_pdf(labels, DAY), tmp_path, 300)
    expected = np.array([list(row) for row in segno.make(first, error="m", micro=False).matrix])
    # The first code: 69 to 99 mm from the left edge, 18 to 48 mm from the top.
    left, top, side = 69 / INCH_MM * 300, 18 / INCH_MM * 300, 30 / INCH_MM * 300
    middles = (np.arange(len(expected)) + 0.5) * side / len(expected)
    rows, columns = np.round(top + middles).astype(int), np.round(left + middles).astype(int)
    drawn = page[np.ix_(rows, columns)] < 128

    assert first.endswith("task=on:battery_leads")
    assert (drawn == expected.astype(bool)).all()
    quiet = round(4 * side / len(expected))  # four squares stay white round the code (ISO/IEC 18004)
    edge = page[
        round(top) - quiet + 2 : round(top + side) + quiet - 2, round(left) - quiet + 2 : round(left) - 2
    ]
    assert edge.min() > 250


def test_an_address_that_no_phone_could_read_is_refused() -> None:
    with pytest.raises(BadEntry, match="does not fit"):
        code_squares("http://" + "x" * 400)
