import re
from decimal import Decimal
from xml.etree import ElementTree

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspection.drawing.distribution import histogram_chart, probability_chart
from inspection.drawing.groups import Column, Group, Share, bars, dots
from inspection.drawing.primitives import Axis, Level, ticks
from inspection.drawing.scatter import Curve, Spot, Stretch, curves_chart, scatter
from inspection.process.histogram import histogram
from inspection.process.normality import probability_plot

SVG = "{http://www.w3.org/2000/svg}"
MM, N = Axis("crimp height", "mm"), Axis("pull force", "N")


def drawn(svg):
    return ElementTree.fromstring(svg)  # noqa: S314  # our own drawing


def classed(svg, name):
    return [element for element in drawn(svg).iter() if name in (element.get("class") or "").split()]


def texts(svg):
    return ["".join(element.itertext()) for element in drawn(svg).iter(f"{SVG}text")]


def centres(svg):
    return [(float(c.get("cx")), float(c.get("cy"))) for p in classed(svg, "point") for c in p.iter(f"{SVG}circle")]


# --- Scatter and curves ----------------------------------------------------------------------------------------------------------


def test_larger_values_stand_further_right_and_higher():
    first, second = centres(scatter([Spot(1.30, 60), Spot(1.40, 90)], x=MM, y=N, title="t"))
    assert second[0] > first[0]
    assert second[1] < first[1]


def test_limit_is_labelled_with_its_digits_and_the_curve_at_its_end():
    line = Curve([1.3, 1.5], [60, 90], "fit", [55, 85], [65, 95])
    svg = scatter([Spot(1.4, 70)], x=MM, y=N, title="t", curves=[line], levels=[Level(Decimal("50.0"), "least force")])
    assert {"least force 50.0", "fit", "crimp height, mm", "pull force, N"} <= set(texts(svg))
    assert len(classed(svg, "band")) == 1


def test_band_wider_than_the_frame_is_cut_at_it():
    wild = Curve([0, 1, 2], [1, 2, 3], low=[-1e9, 0, 0], high=[1e9, 4, 5])
    svg = scatter([Spot(1, 2)], x=MM, y=N, title="t", curves=[wild])
    numbers = [float(n) for n in re.findall(r"-?[\d.]+", classed(svg, "band")[0].get("d"))]
    assert min(numbers) >= 0
    assert max(numbers) <= 720


def test_window_is_shaded_between_its_ends():
    svg = scatter([Spot(1.3, 60), Spot(1.5, 90)], x=MM, y=N, title="t", stretches=[Stretch(1.35, 1.45, "window")])
    (box,) = [e for e in classed(svg, "window") if e.tag == f"{SVG}rect"]
    (left, _), (right, _) = centres(svg)
    assert float(box.get("width")) == pytest.approx((right - left) / 2, abs=0.2)
    assert "window" in texts(svg)


def test_curve_without_a_value_for_each_place_is_refused():
    with pytest.raises(ValueError, match="as many values"):
        scatter([], x=MM, y=N, title="t", curves=[Curve([1, 2], [1])])


def test_several_curves_have_dashes_of_their_own_and_fixed_scales():
    p = [0.0, 0.05, 0.1]
    svg = curves_chart(
        [Curve(p, [1, 0.5, 0.1], "n 20"), Curve(p, [1, 0.3, 0.02], "n 50")], x=Axis("share"), y=Axis("accepted", low=0, high=1), title="OC"
    )
    assert classed(svg, "curve")[0].get("stroke-dasharray") is None
    assert classed(svg, "curve")[1].get("stroke-dasharray")
    assert {"0.0", "1.0", "n 20", "n 50"} <= set(texts(svg))


def test_step_curve_stays_level_until_the_next_place():
    svg = curves_chart([Curve([0, 1, 2], [1, 2, 3], step=True)], x=MM, y=N, title="t")
    points = re.findall(r"([\d.]+) ([\d.]+)", classed(svg, "curve")[0].get("d"))
    assert points[0][1] == points[1][1] != points[2][1]


# --- Groups and shares -----------------------------------------------------------------------------------------------------------


def test_each_appraiser_has_a_column_and_a_shape():
    groups = [Group(str(part), [Column("Ana", [1.0, 1.1]), Column("Ben", [1.2, 1.3])]) for part in (1, 2)]
    svg = dots(groups, y=MM, title="t", group_word="part")
    assert len(classed(svg, "point")) == 8
    assert {"Ana", "Ben", "1", "2", "part"} <= set(texts(svg))
    first, second = classed(svg, "key")
    assert first.find(f"{SVG}circle").get("fill") is None
    assert second.find(f"{SVG}circle").get("fill") == "none"


def test_mean_of_a_part_stands_between_its_values():
    svg = dots([Group("1", [Column("Ana", [1.0, 3.0])])], y=MM, title="t")
    (mean,) = classed(svg, "group-mean")
    y = float(re.match(r"M[\d.]+ ([\d.]+)", mean.find(f"{SVG}path").get("d")).group(1))
    (_, low), (_, high) = centres(svg)
    assert y == pytest.approx((low + high) / 2, abs=0.2)
    assert mean.find(f"{SVG}title").text == "1, mean 2 mm"


def test_bar_is_as_long_as_its_share_and_told_with_its_interval():
    svg = bars([Share("gauge", 10, 5, 20), Share("parts", 90)], title="t", x=Axis("share", "%"))
    gauge, parts = classed(svg, "share")
    assert float(parts.find(f"{SVG}rect").get("width")) == pytest.approx(9 * float(gauge.find(f"{SVG}rect").get("width")), rel=0.01)
    assert gauge.find(f"{SVG}title").text == "gauge, 10 % (5 – 20)"
    assert len(classed(svg, "whisker")) == 1


# --- Distributions ---------------------------------------------------------------------------------------------------------------


def test_bars_of_a_histogram_are_as_high_as_their_counts():
    bins = histogram([1.0, 1.1, 1.1, 1.2, 1.2, 1.2], resolution=0.1)
    svg = histogram_chart(bins, x=MM, title="t")
    heights = [float(b.find(f"{SVG}rect").get("height")) for b in classed(svg, "bin")]
    assert [h / heights[0] for h in heights] == pytest.approx([1, 2, 3], rel=0.02)


def test_fitted_curve_is_drawn_to_the_scale_of_the_counts():
    values = np.random.default_rng(2).uniform(0, 1, 1000)
    bins = histogram(values)
    svg = histogram_chart(bins, x=MM, title="t", fits=[Curve([0.05, 0.95], [1.0, 1.0], "uniform")])
    curve = float(re.findall(r"[\d.]+ ([\d.]+)", classed(svg, "curve")[0].get("d"))[0])
    tops = [float(b.find(f"{SVG}rect").get("y")) for b in classed(svg, "bin")]
    assert curve == pytest.approx(sum(tops) / len(tops), abs=3)


def test_normal_values_lie_on_the_line_and_a_stray_one_is_marked():
    values = [*np.random.default_rng(5).normal(10, 1, 60).tolist(), 25.0]
    svg = probability_chart(probability_plot(values), x=MM, title="t")
    assert [p.find(f"{SVG}title").text.partition(",")[0] for p in classed(svg, "outside")][-1] == "25 mm"
    assert {"50", "95"} <= set(texts(svg))


@pytest.mark.parametrize(
    "svg",
    [
        scatter([], x=MM, y=N, title="t"),
        curves_chart([], x=MM, y=N, title="t"),
        dots([], y=MM, title="t"),
        bars([], x=MM, title="t"),
        histogram_chart(None, x=MM, title="t"),
        probability_chart(None, x=MM, title="t"),
    ],
    ids=["scatter", "curves", "dots", "bars", "histogram", "probability"],
)
def test_nothing_to_show_is_said(svg):
    (word,) = classed(svg, "chart-empty")
    assert word.text


ODD = st.one_of(
    st.floats(-1e90, 1e90, allow_nan=False), st.sampled_from([0.0, 5e-324, 1e-300, 1.4, 1.4 + 1e-15, -7.0]), st.decimals(-99, 99, places=4)
)


@given(st.lists(st.tuples(ODD, ODD), min_size=1, max_size=20), st.text(max_size=12))
@settings(max_examples=80, deadline=None)
def test_pictures_hold_any_value_and_any_text(pairs, word):
    spots = [Spot(x, y, word) for x, y in pairs]
    made = [
        scatter(spots, x=Axis(word, word), y=N, title=word, levels=[Level(spots[0].y, word)], uprights=[Level(spots[0].x, word)]),
        dots([Group(word, [Column(word, [x for x, _ in pairs])])], y=Axis(word), title=word),
        bars([Share(word, x) for x, _ in pairs], x=Axis(word), title=word),
        histogram_chart(histogram([float(x) for x, _ in pairs]), x=Axis(word), title=word),
    ]
    for svg in made:
        root = drawn(svg)
        _, _, width, height = map(float, root.get("viewBox").split())
        for element in root.iter():
            if element.get("cx") is not None:
                assert 0 <= float(element.get("cx")) <= width
                assert 0 <= float(element.get("cy")) <= height
        assert "style=" not in svg
    assert made[0] == scatter(
        spots, x=Axis(word, word), y=N, title=word, levels=[Level(spots[0].y, word)], uprights=[Level(spots[0].x, word)]
    )  # fmt: skip


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), 1e300])
def test_value_without_a_place_on_a_scale_is_refused(bad):
    with pytest.raises(ValueError, match="value"):
        scatter([Spot(1, bad)], x=MM, y=N, title="t")


@given(st.floats(-1e12, 1e12), st.floats(1e-6, 1e12))
@settings(deadline=None)
def test_ticks_lie_on_the_scale_evenly(low, extent):
    high = low + extent
    if not high > low + abs(low) * 1e-9:
        return
    found = [value for value, _text in ticks(low, high, 6)]
    assert 1 <= len(found) <= 14
    assert all(low - extent * 1e-6 <= value <= high + extent * 1e-6 for value in found)
