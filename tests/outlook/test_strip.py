import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest

from driveout.outlook.strip import NARROW, WIDE, StripBand, strip_svg, strip_words, trail_svg

BAND = StripBand(-12_345, 65_500, 189_400, 171_000, "USD", 0.3, 40_000)


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize(
    "band",
    [
        BAND,
        StripBand(100, 101, 102, 0, "USD", 0.0),
        StripBand(-900_000_00, -800_000_00, 700_000_00, 50_00, "USD", 0.5),
        StripBand(0, 0, 0, 0, "JPY", 0.0),
    ],
)
def test_every_text_is_large_enough_and_inside_the_picture(band: StripBand, width: int) -> None:
    picture = ElementTree.fromstring(strip_svg(band, "s", width))
    letter = 7.2

    assert float(picture.attrib["font-size"]) >= 12
    for text in picture.iter("{http://www.w3.org/2000/svg}text"):
        half = letter * len(text.text or "") / 2
        assert half - 1 <= float(text.attrib["x"]) <= width - half + 1


def test_the_picture_has_a_role_a_title_and_a_description_in_words() -> None:
    svg = strip_svg(BAND, "s")

    assert 'role="img"' in svg
    assert "<title" in svg
    assert strip_words(BAND) in svg
    assert "walk away above 400.00 USD" in strip_words(BAND)


def test_labels_of_one_row_do_not_run_into_each_other() -> None:
    for wage in range(-200_000, 400_000, 7_000):
        svg = strip_svg(StripBand(-1_000, 500, 2_000 + abs(wage) // 9, wage, "USD", 0.1), "s")
        rows: dict[str, list[tuple[float, float]]] = {}
        for x, y, text in re.findall(r'<text x="([\d.-]+)" y="([\d.]+)"[^>]*>([^<]*)<', svg):
            half = 7.2 * len(text) / 2
            rows.setdefault(y, []).append((float(x) - half, float(x) + half))
        for spans in rows.values():
            spans.sort()
            assert all(a[1] <= b[0] + 0.2 for a, b in pairwise(spans)), svg


def test_words_from_outside_cannot_become_markup() -> None:
    assert "<script" not in trail_svg([("<script>alert(1)</script>", BAND)], "t")


def test_an_empty_trail_draws_nothing() -> None:
    assert trail_svg([], "t") == ""


def test_the_trail_shortens_long_facts_to_the_width() -> None:
    svg = trail_svg([("x" * 200, BAND), ("found: no gas", BAND)], "t", NARROW)

    assert "…" in svg
    assert svg.count("<rect") == 2
