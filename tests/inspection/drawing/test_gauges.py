"""Runs side by side, one panel for each person."""

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inspection.drawing.gauges import Panel, panels
from inspection.drawing.primitives import Axis, Level

VALUES = st.lists(st.floats(-1e6, 1e6), min_size=1, max_size=12)


def drawn(runs, **more):
    return panels(runs, y=Axis("range", "mm"), title="Ranges", **more)


@given(st.lists(VALUES, max_size=4), st.text(max_size=12))
def test_every_value_is_a_point_and_the_drawing_is_whole(runs, name):
    svg = drawn([Panel(name, [str(n) for n in range(len(run))], run) for run in runs], levels=(Level(3.0, "limit", "control"),))
    root = ElementTree.fromstring(svg)  # noqa: S314  # our own
    points = [each for each in root.iter("{http://www.w3.org/2000/svg}g") if each.get("class", "").startswith("point")]
    assert len(points) == sum(len(run) for run in runs)
    assert "style=" not in svg
    assert not re.search(r"\bnan\b|\binf\b", re.sub(r"<(title|text|desc)[^>]*>.*?</\1>|aria-label=\"[^\"]*\"", "", svg, flags=re.DOTALL))


def test_value_beyond_its_limit_has_a_shape_of_its_own():
    svg = drawn([Panel("Berger", ["1", "2"], [1.0, 9.0], {1})], levels=(Level(5.0, "limit", "control"),))
    assert svg.count('class="point misfit"') == 1
    assert "Berger, 2, 9 mm" in svg


def test_text_is_escaped_and_a_value_that_is_none_refused():
    assert "<b>" not in drawn([Panel("<b>", ["1"], [1.0])])
    with pytest.raises(ValueError, match="not a finite number"):
        drawn([Panel("A", ["1"], [float("nan")])])
