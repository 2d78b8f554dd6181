import re
from decimal import Decimal
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.drawing.control import Signalled, control_chart
from inspection.drawing.primitives import Level
from inspection.process.charts import individuals_chart, xbar_r_chart
from inspection.process.memory import cusum_chart, ewma_chart

SVG = "{http://www.w3.org/2000/svg}"
HEIGHTS = [1.40, 1.41, 1.39, 1.42, 1.40, 1.38, 1.41, 1.40, 1.47]


def drawn(svg):
    return ElementTree.fromstring(svg)  # noqa: S314  # our own drawing


def classed(svg, name):
    return [element for element in drawn(svg).iter() if name in (element.get("class") or "").split()]


def texts(svg):
    return ["".join(element.itertext()) for element in drawn(svg).iter(f"{SVG}text")]


def titles(svg, name="point"):
    return [element.find(f"{SVG}title").text for element in classed(svg, name)]


def chart_of(values=HEIGHTS, **more):
    return control_chart(individuals_chart(values), title="Crimp height", unit="mm", **more)


def place(point):
    circle = point.find(f"{SVG}circle")
    return float(circle.get("cx")), float(circle.get("cy"))


def test_control_limits_are_dashed_and_specification_limits_solid_each_with_its_value():
    svg = chart_of(specification=[Level(Decimal("1.45"), "upper limit")])
    chart = individuals_chart(HEIGHTS)
    (limit,) = [e for e in classed(svg, "limit") if e.tag == f"{SVG}path"]
    assert limit.get("stroke-dasharray") is None
    assert all(element.get("stroke-dasharray") for element in classed(svg, "control"))
    assert "upper limit 1.45" in texts(svg)
    told = [float(text.rpartition(" ")[2]) for text in texts(svg) if text.startswith("upper control")]
    assert told == pytest.approx([chart.location.high[0], chart.spread.high[0]], abs=5e-4)


def test_both_panels_share_the_order_of_samples():
    svg = chart_of()
    location, spread = [place(p) for p in classed(svg, "point")][: len(HEIGHTS)], [place(p) for p in classed(svg, "point")][len(HEIGHTS) :]
    assert [x for x, _ in location[1:]] == [x for x, _ in spread]
    assert min(y for _, y in spread) > max(y for _, y in location)


def test_signal_is_numbered_at_its_point():
    last = len(HEIGHTS) - 1
    svg = chart_of(signals=[Signalled(0, last, "1", "a point beyond a control limit")])
    (point,) = classed(svg, "signalled")
    assert "signals rule 1 a point beyond a control limit" in point.find(f"{SVG}title").text
    (number,) = classed(svg, "signal")
    box = number.find(f"{SVG}rect")
    x, y = place(point)
    assert float(box.get("x")) < x < float(box.get("x")) + float(box.get("width"))
    assert abs(float(box.get("y")) - y) < 60


def test_second_set_of_rules_has_a_shape_of_its_own():
    svg = chart_of(signals=[Signalled(0, 3, "2"), Signalled(0, 8, "2", second=True)])
    assert [group.find(f"{SVG}rect") is None for group in classed(svg, "signal")] == [False, True]


def test_two_rules_at_one_point_share_a_box():
    svg = chart_of(signals=[Signalled(0, 8, "1"), Signalled(0, 8, "5")])
    assert [group.find(f"{SVG}text").text for group in classed(svg, "signal")] == ["1 5"]


def test_set_up_stands_in_front_of_its_sample_with_its_word():
    svg = chart_of(changes=[(4, "set-up 2")])
    (change,) = [mark for mark in classed(svg, "mark") if mark.find(f"{SVG}title").text == "set-up 2"]
    x = float(re.match(r"M([\d.]+) ", change.find(f"{SVG}path").get("d")).group(1))
    points = [place(p)[0] for p in classed(svg, "point")]
    assert points[3] < x < points[4]
    assert "set-up 2" in texts(svg)


def test_reading_outside_the_specification_is_crossed_and_told():
    svg = chart_of(outside=frozenset({8}))
    (title,) = titles(svg, "misfit")
    assert title == "value 1.47 mm, outside the specification"


def test_tip_tells_sample_and_value():
    svg = chart_of(tips=[f"B-1 sample {n}" for n in range(9)])
    assert titles(svg)[0] == "B-1 sample 0, value 1.4 mm"


def test_focus_rests_on_the_newest_point_and_the_others_are_reached_from_it():
    svg = chart_of(focusable=True)
    stops = [point.get("tabindex") for point in classed(svg, "point")]
    assert stops.count("0") == 1
    assert stops[len(HEIGHTS) - 1] == "0"
    assert drawn(svg).get("role") == "group"
    assert {point.get("role") for point in classed(svg, "point")} == {"img"}


def test_without_focus_the_chart_is_one_picture():
    root = drawn(chart_of())
    assert root.get("role") == "img"
    assert not [element for element in root.iter() if element.get("tabindex")]


def test_limits_of_unequal_subgroups_go_in_steps():
    chart = xbar_r_chart([[1.4, 1.41], [1.39, 1.4, 1.42], [1.4, 1.41], [1.4, 1.4, 1.39]])
    svg = control_chart(chart, title="t", unit="mm")
    steps = [element.get("d") for element in classed(svg, "control") if element.get("d").count("H") > 2]
    levels = re.findall(r"V([\d.]+)", steps[0])
    assert len(levels) == 3
    assert levels[0] == levels[2] != levels[1]


def test_both_sums_share_one_frame():
    svg = control_chart(cusum_chart(HEIGHTS), title="t", unit="mm")
    assert len(classed(svg, "chart-axis")) == 1
    assert len(classed(svg, "chart-run")) == 2


def test_thousands_of_points_are_thinned_and_no_signal_is_lost():
    rng = np.random.default_rng(1)
    values = rng.normal(1.4, 0.01, 5000)
    signals = [Signalled(0, int(p), "1") for p in range(100, 5000, 50)]
    svg = control_chart(individuals_chart(values), title="t", unit="mm", tips=[f"sample {n}." for n in range(5000)], signals=signals)
    assert len(classed(svg, "point")) < 2500
    assert {int(re.match(r"sample (\d+)", title).group(1)) for title in titles(svg, "signalled")} == {s.point for s in signals}
    extremes = {f"sample {int(values.argmax())}.", f"sample {int(values.argmin())}."}
    assert extremes <= {title.partition(",")[0] for title in titles(svg)}


@pytest.mark.parametrize("chart", [None, individuals_chart([1.4, 1.4]), ewma_chart([1.4, 1.41])])
def test_short_charts_are_drawn(chart):
    root = drawn(control_chart(chart, title="t", unit="mm"))
    assert root.find(f"{SVG}title").text == "t"


def test_empty_chart_says_so():
    assert "No samples yet" in texts(control_chart(None, title="t", unit="mm"))


def test_text_is_escaped_and_nothing_runs():
    svg = chart_of(tips=['<script>alert("&")</script>'] * 9, changes=[(1, "<b>\x00")], labels=["<i>"] * 9)
    assert "<script" not in svg
    assert "style=" not in svg
    assert titles(svg)[0].startswith('<script>alert("&")</script>')


VALUES = st.lists(
    st.one_of(
        st.floats(-1e90, 1e90, allow_nan=False), st.sampled_from([0.0, -0.0, 1e-300, 5e-324, 1.4, 1.4 + 1e-15, -3.0]), st.floats(-2, 2)
    ),
    min_size=2,
    max_size=40,
)


@given(VALUES, st.booleans())
@settings(max_examples=60, deadline=None)
def test_every_point_lies_inside_the_drawing_whatever_its_size(values, zones):
    chart = individuals_chart(values)
    svg = control_chart(chart, title="t", unit="mm", zones=zones, signals=[Signalled(0, 0, "1")])
    root = drawn(svg)
    _, _, width, height = map(float, root.get("viewBox").split())
    for point in classed(svg, "point"):
        x, y = place(point)
        assert 0 <= x <= width
        assert 0 <= y <= height
    assert svg == control_chart(chart, title="t", unit="mm", zones=zones, signals=[Signalled(0, 0, "1")])
