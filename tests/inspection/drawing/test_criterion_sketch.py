import re
from xml.etree import ElementTree

import pytest

from inspection.drawing.criterion_sketch import HEIGHT, WIDTH, sketch
from shop.criteria import VISUAL_CRITERIA, cross_sections, own_criterion

CODES = [criterion.code for criterion in (*VISUAL_CRITERIA, *cross_sections(2))]


@pytest.mark.parametrize("code", CODES)
def test_every_criterion_has_a_good_and_a_bad_picture(code):
    good, bad = (ElementTree.fromstring(sketch(code, good=is_good)) for is_good in (True, False))  # noqa: S314  # our own drawing

    rings = [[e for e in drawn.iter() if e.get("class") == "sk-ring"] for drawn in (good, bad)]
    assert [len(found) for found in rings] == [0, 1]  # where to look, by shape and not by colour
    assert [e.attrib for e in good.iter()] != [e.attrib for e in bad.iter()]


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("good", [True, False])
def test_nothing_is_drawn_outside_the_picture(code, good):
    lines = re.findall(r' d="([^"]*)"', sketch(code, good=good))
    points = [(float(x), float(y)) for line in lines for x, y in re.findall(r"(-?[\d.]+) (-?[\d.]+)", line)]
    assert points
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in points)


def test_own_words_have_no_picture_and_a_title_is_said():
    assert sketch(own_criterion("label reads <A>").code, good=True) == ""
    assert 'aria-label="open &lt;seam&gt;"' in sketch("visual.seam", good=False, title="open <seam>")
