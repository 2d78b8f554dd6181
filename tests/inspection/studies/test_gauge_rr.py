import itertools
import math

import numpy as np
import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from inspection.spc import NotFinite
from inspection.studies.components import Origin, Standing, Yardstick
from inspection.studies.confidence import NotASetting
from inspection.studies.crossed import DoubledCells, MissingCells, TooSmall, arranged
from inspection.studies.gauge_rr import Constants, analysis_of_variance, average_and_range

METHODS = (average_and_range, analysis_of_variance)


def drawn(parts, appraisers, trials, seed, *, interaction=0.0, appraiser=0.4, error=0.2):
    """Readings to a hundredth, as a gauge shows them."""
    rng = np.random.default_rng(seed)
    values = 20 + rng.normal(0, 1, (parts, 1, 1)) + rng.normal(0, appraiser, (1, appraisers, 1))
    values = values + rng.normal(0, interaction, (parts, appraisers, 1)) if interaction else values
    return np.round(values + rng.normal(0, error, (parts, appraisers, trials)), 2)


layouts = st.tuples(st.integers(2, 7), st.integers(2, 4), st.integers(2, 4), st.integers(0, 10_000), st.sampled_from((0.0, 0.5)))
studies = layouts.map(lambda n: drawn(*n[:4], interaction=n[4]))


def sigmas(study):
    return {component.origin: component.sigma for component in study.variation.components}


def approx(figures, factor=1.0):
    return {origin: pytest.approx(sigma * factor, rel=1e-8, abs=1e-10) for origin, sigma in figures.items()}


@given(studies)
@settings(max_examples=25, deadline=None)
def test_analysis_of_variance_agrees_with_statsmodels(values):
    rows = [(p, a, values[p, a, t]) for p, a, t in itertools.product(*map(range, values.shape))]
    frame = pandas.DataFrame(rows, columns=["part", "appraiser", "value"])
    oracle = anova_lm(ols("value ~ C(part) * C(appraiser)", frame).fit())
    names = {
        Origin.PART: "C(part)",
        Origin.APPRAISER: "C(appraiser)",
        Origin.INTERACTION: "C(part):C(appraiser)",
        Origin.EQUIPMENT: "Residual",
    }

    found = {row.origin: row for row in analysis_of_variance(values).rows}

    for origin, name in names.items():
        assert found[origin].df == oracle.loc[name, "df"]
        assert found[origin].ss == pytest.approx(oracle.loc[name, "sum_sq"], rel=1e-7, abs=1e-9)
    assert found[Origin.INTERACTION].p == pytest.approx(oracle.loc["C(part):C(appraiser)", "PR(>F)"], rel=1e-6)
    # Random factors are tested against the interaction, where the fixed-effects table of the oracle takes the residual.
    f = oracle.loc["C(part)", "mean_sq"] / oracle.loc["C(part):C(appraiser)", "mean_sq"]
    assert found[Origin.PART].f == pytest.approx(f, rel=1e-6)


@given(studies)
@settings(max_examples=25, deadline=None)
def test_pooled_table_agrees_with_statsmodels_without_interaction(values):
    study = analysis_of_variance(values, alpha=1e-300)
    assert study.pooled
    rows = [(p, a, values[p, a, t]) for p, a, t in itertools.product(*map(range, values.shape))]
    oracle = anova_lm(ols("value ~ C(part) + C(appraiser)", pandas.DataFrame(rows, columns=["part", "appraiser", "value"])).fit())
    found = {row.origin: row for row in study.pooled_rows}
    for origin, name in ((Origin.PART, "C(part)"), (Origin.APPRAISER, "C(appraiser)")):
        assert found[origin].f == pytest.approx(oracle.loc[name, "F"], rel=1e-6)
        assert found[origin].p == pytest.approx(oracle.loc[name, "PR(>F)"], rel=1e-5, abs=1e-300)
    assert found[Origin.EQUIPMENT].ms == pytest.approx(oracle.loc["Residual", "mean_sq"], rel=1e-8)


def test_analysis_of_variance_of_hand_derived_sums():
    # 2 parts, 2 appraisers, 2 trials. Cell means 2, 4 / 7, 5; grand mean 4.5; each cell spreads by 2 about its mean.
    study = analysis_of_variance([[[1, 3], [3, 5]], [[6, 8], [4, 6]]], alpha=0.5)
    table = {row.origin: (row.df, row.ss, row.ms) for row in study.rows}
    # Parts 3 and 6: 4 (1.5^2 + 1.5^2); appraisers 4.5 and 4.5: 0; interaction: leftovers of 1 in four cells, times 2; error: 4 cells of 2.
    assert table == {
        Origin.PART: (1, 18, 18),
        Origin.APPRAISER: (1, 0, 0),
        Origin.INTERACTION: (1, 8, 8),
        Origin.EQUIPMENT: (4, 8, 2),
        Origin.TOTAL: (7, 34, None),
    }
    # F(1, 4) of the interaction is 4, its p 0.116: not pooled at 0.5. Components: (8 - 2)/2, (0 - 8)/4 set to zero, (18 - 8)/4.
    assert not study.pooled
    variances = {c.origin: c.variance for c in study.variation.components}
    assert variances == {
        Origin.EQUIPMENT: 2,
        Origin.APPRAISER: 0,
        Origin.INTERACTION: 3,
        Origin.REPRODUCIBILITY: 3,
        Origin.GAUGE: 5,
        Origin.PART: 2.5,
        Origin.TOTAL: 7.5,
    }
    assert study.variation[Origin.APPRAISER].estimate == -2
    assert [c.origin for c in study.variation.components if c.set_to_zero] == [Origin.APPRAISER]


@pytest.mark.parametrize(("alpha", "pooled"), [(0.05, True), (0.25, False)])
def test_interaction_is_pooled_when_its_p_exceeds_alpha(alpha, pooled):
    # p is 0.116, see above.
    study = analysis_of_variance([[[1, 3], [3, 5]], [[6, 8], [4, 6]]], alpha=alpha)
    assert study.interaction_p == pytest.approx(0.116, abs=5e-4)
    assert study.pooled is pooled
    assert bool(study.pooled_rows) is pooled


@pytest.mark.parametrize("method", METHODS)
@given(studies, st.floats(0.001, 1000), st.integers(-1000, 1000))
@settings(max_examples=15, deadline=None)
def test_study_follows_scale_and_ignores_a_shift(method, values, scale, shift):
    before, after = method(values), method(values * scale + shift)
    assert sigmas(after) == approx(sigmas(before), scale)
    assert after.variation.ndc == before.variation.ndc or before.variation.ndc_exact == pytest.approx(
        round(before.variation.ndc_exact), rel=1e-6
    )


@pytest.mark.parametrize("method", METHODS)
@given(studies, st.randoms(use_true_random=False))
@settings(max_examples=15, deadline=None)
def test_study_does_not_depend_on_the_order_of_parts_and_appraisers(method, values, random):
    parts, appraisers, trials = (random.sample(range(n), n) for n in values.shape)
    shuffled = values[np.ix_(parts, appraisers, trials)]
    assert sigmas(method(shuffled)) == approx(sigmas(method(values)))


@pytest.mark.parametrize("method", METHODS)
@given(studies)
@settings(max_examples=15, deadline=None)
def test_components_add_up(method, values):
    by = {c.origin: c for c in method(values).variation.components}
    equipment, gauge, part, total = (by[o].variance for o in (Origin.EQUIPMENT, Origin.GAUGE, Origin.PART, Origin.TOTAL))
    assert gauge == pytest.approx(equipment + by[Origin.REPRODUCIBILITY].variance, abs=1e-12)
    assert total == pytest.approx(gauge + part, abs=1e-12)
    assert by[Origin.GAUGE].percent_contribution + by[Origin.PART].percent_contribution == pytest.approx(100)
    assert by[Origin.TOTAL].percent_study == pytest.approx(100)
    assert all(c.variance >= 0 for c in by.values())
    assert all(c.set_to_zero is (c.estimate < 0) for c in by.values())


@given(studies)
@settings(max_examples=15, deadline=None)
def test_intervals_hold_their_estimates(values):
    for component in analysis_of_variance(values).variation.components:
        assert 0 <= component.sigma_interval.low <= component.sigma + 1e-12
        assert component.sigma <= component.sigma_interval.high + 1e-12
        assert 0 <= component.percent_study_interval.low <= component.percent_study_interval.high <= 100 + 1e-9


@pytest.mark.parametrize("method", METHODS)
def test_one_appraiser_leaves_reproducibility_undefined(method):
    study = method(drawn(6, 1, 3, 1))
    assert study.reproducibility_defined is False
    origins = [c.origin for c in study.variation.components]
    assert origins == [Origin.EQUIPMENT, Origin.GAUGE, Origin.PART, Origin.TOTAL]
    assert study.variation[Origin.GAUGE].sigma == study.variation[Origin.EQUIPMENT].sigma


def test_appraiser_variation_below_the_noise_counts_as_zero_and_is_said():
    # Both appraisers have the same mean, so (Xdiff K2)^2 - EV^2/(n r) is negative.
    study = average_and_range([[[1.0, 1.2], [1.2, 1.0]], [[3.0, 3.2], [3.2, 3.0]]])
    assert study.variation[Origin.APPRAISER].set_to_zero
    assert study.variation[Origin.APPRAISER].estimate < 0
    assert study.variation[Origin.REPRODUCIBILITY].sigma == 0


@pytest.mark.parametrize("method", METHODS)
def test_percentages_follow_their_yardstick(method):
    values = drawn(10, 3, 3, 4)
    plain = method(values).variation[Origin.GAUGE]
    assert (plain.percent_tolerance, plain.percent_process, plain.percent_one_limit) == (None, None, None)
    study = method(values, Yardstick(tolerance=12.0, process_sigma=2.0, one_limit=10.0, sigmas=5.15))
    gauge = study.variation[Origin.GAUGE]
    assert gauge.spread == pytest.approx(5.15 * plain.sigma)
    assert gauge.percent_tolerance == pytest.approx(100 * 5.15 * plain.sigma / 12)
    assert gauge.percent_process == pytest.approx(50 * plain.sigma)
    assert gauge.percent_one_limit == pytest.approx(100 * 5.15 / 2 * plain.sigma / (study.picture.grand_mean - 10))
    assert gauge.percent_study == pytest.approx(plain.percent_study)
    assert study.variation.ndc_process == math.floor(1.41 * math.sqrt(4 - plain.sigma**2) / plain.sigma)


@pytest.mark.parametrize(
    ("percent", "standing"),
    [
        (9.99, Standing.GOOD),
        (9.996, Standing.CONDITIONAL),
        (10.0, Standing.CONDITIONAL),
        (30.0, Standing.CONDITIONAL),
        (30.004, Standing.CONDITIONAL),
        (30.006, Standing.NOT_ACCEPTABLE),
        (None, None),
    ],
)
def test_standing_of_a_percentage(percent, standing):
    assert Yardstick().standing(percent) is standing


@pytest.mark.parametrize("method", METHODS)
def test_readings_without_any_spread_have_no_percentages(method):
    study = method(np.full((3, 2, 2), 1.1))
    assert study.variation[Origin.TOTAL].sigma == 0
    assert all(c.percent_study is None and c.percent_contribution is None for c in study.variation.components)
    assert (study.variation.ndc, study.standing_study, study.ndc_enough) == (None, None, None)
    assert study.picture.zero_ranges == 6


def test_gauge_without_spread_has_no_number_of_categories():
    values = np.repeat(np.repeat([[[1.1]], [[1.3]], [[1.2]]], 2, axis=1), 3, axis=2)
    study = analysis_of_variance(values)
    assert (study.variation.ndc, study.interaction_p, study.pooled) == (None, None, False)
    assert study.variation[Origin.PART].percent_study == pytest.approx(100)
    assert all(row.f is None for row in study.rows)


def test_large_common_part_of_the_readings_costs_no_digits():
    values = drawn(6, 3, 3, 2)
    exact = analysis_of_variance(values)
    far = analysis_of_variance(values + 2.0**27)
    assert [row.ss for row in far.rows] == pytest.approx([row.ss for row in exact.rows], rel=1e-4)


def test_ranges_beyond_their_limit_name_part_and_appraiser():
    values = drawn(8, 3, 3, 5, error=0.05)
    values[2, 1] = [20, 20.9, 20.4]
    picture = average_and_range(values).picture
    assert picture.ranges_beyond == ((2, 1),)
    assert picture.appraisers_beyond == (1,)
    assert picture.cell_ranges[2][1] == pytest.approx(0.9)


def test_exact_constants_take_the_ranges_there_are():
    values = drawn(3, 2, 2, 6)
    form, exact = average_and_range(values), average_and_range(values, constants=Constants.EXACT)
    assert (form.k1, form.few_ranges) == (0.8862, True)
    # 1/d2* for six ranges of two: d2* = sqrt(1.12838^2 + 0.85250^2/6).
    assert exact.k1 == pytest.approx(1 / math.sqrt(1.128379**2 + 0.852502**2 / 6), abs=1e-6)
    assert exact.variation[Origin.EQUIPMENT].sigma < form.variation[Origin.EQUIPMENT].sigma


def test_missing_cells_are_refused_by_index():
    values = drawn(3, 2, 2, 1)
    values[1, 0, 1] = math.nan
    with pytest.raises(MissingCells) as refused:
        analysis_of_variance(values)
    assert refused.value.cells == ((1, 0, 1),)
    with pytest.raises(MissingCells) as ragged:
        average_and_range([[[1.0, 2.0], [1.0]], [[1.0, 2.0], [1.0, 2.0]]])
    assert ragged.value.cells == ((0, 1, 1),)


def test_rows_in_any_order_are_laid_out_by_name():
    rows = [("p2", "Ann", 2, 4.0), ("p1", "Ann", 1, 1.0), ("p2", "Ann", 1, 3.0), ("p1", "Ann", 2, 2.0)]
    laid_out = arranged(rows)
    assert (laid_out.parts, laid_out.appraisers, laid_out.trials) == (("p2", "p1"), ("Ann",), (2, 1))
    assert laid_out.values.tolist() == [[[4.0, 3.0]], [[2.0, 1.0]]]


def test_rows_with_gaps_or_doubles_are_refused_by_name():
    rows = [("p1", "Ann", 1, 1.0), ("p1", "Ann", 2, 2.0), ("p2", "Ann", 1, 3.0)]
    with pytest.raises(MissingCells) as refused:
        arranged(rows)
    assert refused.value.cells == (("p2", "Ann", 2),)
    with pytest.raises(DoubledCells) as doubled:
        arranged([*rows, ("p1", "Ann", 2, 2.1)])
    assert doubled.value.cells == (("p1", "Ann", 2),)


@pytest.mark.parametrize("method", METHODS)
def test_what_is_no_study_is_refused(method):
    with pytest.raises(NotFinite):
        method([[[1.0, math.inf]], [[1.0, 2.0]]])
    for values, what in (([[[1.0, 2.0]]], "parts"), ([[[1.0]], [[2.0]]], "trials"), ([], "parts"), ([[], []], "appraisers")):
        with pytest.raises(TooSmall) as refused:
            method(values)
        assert refused.value.what == what
    for bad in ({"tolerance": 0.0}, {"process_sigma": -1.0}, {"sigmas": math.nan}, {"one_limit": math.inf}):
        with pytest.raises(NotASetting):
            method(drawn(3, 2, 2, 1), Yardstick(**bad))
    with pytest.raises(NotASetting):
        method(drawn(3, 2, 2, 1), confidence=1.0)
