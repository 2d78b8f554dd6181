import base64
import re
from decimal import Decimal
from itertools import pairwise
from xml.etree import ElementTree

import pytest
import weasyprint
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.chart_svg import ChartPoint, ChartWords, limit_bar, run_chart
from inspection.spc import individuals_chart
from inspection.verdict import Limits, Outcome

HEIGHT = Limits(Decimal("1.35"), Decimal("1.45"), Decimal("1.40"))
SVG = "{http://www.w3.org/2000/svg}"


def points(*values, **more):
    return [ChartPoint(str(250 * index), Decimal(value), **more) for index, value in enumerate(values)]


def drawn(svg):
    return ElementTree.fromstring(svg)  # noqa: S314  # our own drawing


def texts(svg):
    return ["".join(element.itertext()) for element in drawn(svg).iter(f"{SVG}text")]


def classed(svg, name):
    return [element for element in drawn(svg).iter() if name in (element.get("class") or "").split()]


def test_every_reading_is_drawn_and_the_last_one_named():
    svg = run_chart(points("1.40", "1.41", "1.39"), limits=HEIGHT, unit="mm", title="Crimp height")
    assert len(classed(svg, "point")) == 3
    assert {"0", "250", "500", "mm"} <= set(texts(svg))


def test_limits_are_labelled_with_their_digits_at_the_lines_end():
    svg = run_chart(points("1.40"), limits=HEIGHT, unit="mm", title="t")
    assert {"upper limit 1.45", "nominal 1.40", "lower limit 1.35"} <= set(texts(svg))
    assert len(classed(svg, "limit")) == 2


def test_reading_higher_than_another_stands_higher():
    svg = run_chart(points("1.38", "1.42"), limits=HEIGHT, unit="mm", title="t")
    low, high = (float(point.find(f"{SVG}circle").get("cy")) for point in classed(svg, "point"))
    assert high < low


def test_reading_outside_the_limits_has_a_shape_of_its_own_and_is_told():
    svg = run_chart(points("1.40", "1.46", "1.45"), limits=HEIGHT, unit="mm", title="t")
    good, bad, edge = classed(svg, "point")
    assert [p.get("class") for p in (good, bad, edge)] == ["point conforms", "point misfit", "point conforms"]
    assert bad.find(f"{SVG}path") is not None
    assert good.find(f"{SVG}circle") is not None
    assert "Outside the limits: 250." in drawn(svg).find(f"{SVG}desc").text


def test_recorded_outcome_outranks_the_picture():
    (point,) = classed(run_chart(points("1.445", outcome=Outcome.UNDECIDED), limits=HEIGHT, unit="mm", title="t"), "point")
    assert point.get("class") == "point undecided"
    assert point.find(f"{SVG}circle").get("fill") == "none"


def test_reading_beyond_the_control_limits_carries_the_rules_number():
    values = ["1.40", "1.41", "1.40", "1.39", "1.40", "1.41", "1.40", "1.39", "1.44"]
    control = individuals_chart([float(v) for v in values[:-1]])
    svg = run_chart(points(*values), limits=HEIGHT, control=control, unit="mm", title="t")
    (signal,) = classed(svg, "signal")
    assert "".join(signal.itertext()) == "1"
    assert classed(svg, "misfit") == []
    assert any(text.startswith("upper control ") for text in texts(svg))


def test_markers_stand_in_front_of_their_point_with_their_word():
    svg = run_chart(points("1.40", "1.41", "1.39"), markers=[(0, "set-up"), (2, "new reel"), (9, "nowhere")], unit="mm", title="t")
    marks = classed(svg, "mark")
    assert [mark.find(f"{SVG}title").text for mark in marks] == ["set-up", "new reel"]
    x = float(re.match(r"M([0-9.]+)", marks[1].find(f"{SVG}path").get("d"))[1])
    second, third = (float(p.find(f"{SVG}circle").get("cx")) for p in classed(svg, "point")[1:])
    assert second < x < third


def test_labels_of_close_lines_are_kept_apart():
    control = individuals_chart([1.40, 1.449, 1.351, 1.40])
    svg = run_chart(points("1.40", "1.41"), limits=HEIGHT, control=control, unit="mm", title="t")
    words = ("limit", "nominal", "control", "centre")
    heights = sorted(float(t.get("y")) for t in drawn(svg).iter(f"{SVG}text") if any(w in "".join(t.itertext()) for w in words))
    assert len(heights) == 6
    assert min(b - a for a, b in pairwise(heights)) >= 12.9


def test_many_labels_are_thinned_until_they_do_not_touch():
    many = [ChartPoint(str(index * 250), 1.4) for index in range(200)]
    svg = run_chart(many, limits=HEIGHT, unit="mm", title="t")
    placed = sorted((float(t.get("x")), "".join(t.itertext())) for t in drawn(svg).iter(f"{SVG}text") if t.get("text-anchor") == "middle")
    assert placed[-1][1] == str(199 * 250)
    assert all(b[0] - a[0] > 6 * len(a[1]) for a, b in pairwise(placed))


def test_words_follow_the_page():
    svg = run_chart([], limits=HEIGHT, unit="mm", title="t", words=ChartWords(upper_limit="obere Grenze", empty="Noch nichts gemessen"))
    assert {"obere Grenze 1.45", "Noch nichts gemessen"} <= set(texts(svg))


@pytest.mark.parametrize("values", [(), ("1.40",), ("1.40",) * 5, ("0",), ("0", "0"), ("-1.2", "3E+5")])
@pytest.mark.parametrize(
    "limits", [None, HEIGHT, Limits(Decimal("1.4"), None), Limits(None, Decimal(0)), Limits(Decimal(1), Decimal(1), Decimal(1))]
)
def test_chart_of_little_or_odd_data_is_drawn_inside_its_frame(values, limits):
    svg = run_chart(points(*values), limits=limits, markers=[(0, "set-up")], unit="mm", title="t")
    assert len(classed(svg, "point")) == len(values)
    assert "nan" not in svg.lower()
    for circle in drawn(svg).iter(f"{SVG}circle"):
        assert 0 <= float(circle.get("cx")) <= 720
        assert 0 <= float(circle.get("cy")) <= 260
    assert ("No readings yet" in texts(svg)) == (not values)


@given(st.lists(st.floats(-1e6, 1e6), max_size=30), st.text(), st.text())
@settings(max_examples=60)
def test_any_text_and_any_readings_make_valid_xml(values, label, title):
    chart = run_chart([ChartPoint(label, v, note=title, kind=label) for v in values], markers=[(0, title)], unit=label, title=title)
    bar = limit_bar(values[0] if values else None, HEIGHT, label, title=title, word=label)
    for svg in (chart, bar):
        root = drawn(svg)
        assert root.get("role") == "img"
        assert root.find(f"{SVG}title") is not None
        assert root.find(f"{SVG}desc") is not None


def test_drawing_carries_no_style_and_no_script():
    hostile = '"><script>alert(1)</script><style>'
    for svg in (
        run_chart(points("1.40", "1.50", note=hostile), limits=HEIGHT, markers=[(0, hostile)], unit=hostile, title=hostile),
        limit_bar(Decimal("1.5"), HEIGHT, "mm", title=hostile, word=hostile),
    ):
        tags = {element.tag.removeprefix(SVG) for element in drawn(svg).iter()}
        assert tags <= {"svg", "title", "desc", "g", "text", "path", "rect", "circle", "polyline"}
        names = {name for element in drawn(svg).iter() for name in element.attrib}
        assert not {name for name in names if name == "style" or name.startswith("on") or "href" in name}
        colours = {e.get(a) for e in drawn(svg).iter() for a in ("fill", "stroke") if e.get(a)}
        assert colours <= {"none", "currentColor"}


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), Decimal("NaN")])
def test_reading_that_is_no_number_is_not_drawn(bad):
    with pytest.raises(ValueError, match="finite"):
        run_chart([ChartPoint("1", bad)], unit="mm", title="t")
    with pytest.raises(ValueError, match="finite"):
        limit_bar(bad, HEIGHT, "mm", title="t")


def bar_parts(svg):
    return {kind: [float(re.match(r"M([0-9.]+)", e.get("d"))[1]) for e in classed(svg, kind)] for kind in ("limit", "nominal", "earlier")}


def test_bar_stands_to_scale_with_the_reading_on_it():
    svg = limit_bar(Decimal("1.43"), HEIGHT, "mm", title="Crimp height", text="1.430", word="conforms", earlier=[Decimal("1.375")])
    parts = bar_parts(svg)
    low, high = parts["limit"]
    pointer = float(re.match(r"M([0-9.]+)", classed(svg, "conforms")[0].find(f"{SVG}path").get("d"))[1])
    assert pointer == pytest.approx(low + (high - low) * 0.8, abs=0.2)
    assert parts["nominal"] == [pytest.approx((low + high) / 2, abs=0.2)]
    assert parts["earlier"] == [pytest.approx(low + (high - low) * 0.25, abs=0.2)]
    assert {"1.35", "1.40", "1.45", "1.430 mm conforms"} == set(texts(svg))


@pytest.mark.parametrize(("value", "outcome"), [("1.43", "conforms"), ("1.46", "misfit"), ("14", "misfit"), ("0", "misfit")])
def test_bar_marks_the_verdict_by_shape(value, outcome):
    (mark,) = classed(limit_bar(Decimal(value), HEIGHT, "mm", title="t"), "mark")
    assert mark.get("class") == f"mark {outcome}"
    assert len(mark.findall(f"{SVG}path")) == (1 if outcome == "conforms" else 2)


@pytest.mark.parametrize(
    "limits",
    [Limits(Decimal("89.0"), None), Limits(None, Decimal("0.05")), Limits(None, Decimal(0)), Limits(Decimal(1), Decimal(1), Decimal(1))],
)
@pytest.mark.parametrize("value", [None, "0", "1", "132.5", "-5000"])
def test_bar_of_any_limits_is_drawn_inside_its_frame(limits, value):
    svg = limit_bar(None if value is None else Decimal(value), limits, "N", title="t")
    assert len(classed(svg, "mark")) == (value is not None)
    for number in re.findall(r'(?: x|cx)="(-?[0-9.]+)"', svg):
        assert 0 <= float(number) <= 640


def test_drawing_prints_as_an_image():
    svg = run_chart(points("1.40", "1.46", "1.38"), limits=HEIGHT, markers=[(1, "new reel")], unit="mm", title="Crimp height")

    image = base64.b64encode(svg.encode()).decode()
    html = f'<p>Chart</p><img src="data:image/svg+xml;base64,{image}" alt="Crimp height">'
    with_chart = weasyprint.HTML(string=html).write_pdf(uncompressed_pdf=True)
    without = weasyprint.HTML(string="<p>Chart</p>").write_pdf(uncompressed_pdf=True)
    # The polyline and the axis arrive as vector operators: far more lines drawn than on the page without it.
    assert with_chart.count(b" l\n") > without.count(b" l\n") + 8
