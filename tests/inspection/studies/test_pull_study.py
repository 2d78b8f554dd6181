import itertools

import numpy as np
import pandas
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from inspection.studies.components import Origin, Yardstick
from inspection.studies.crossed import MissingCells, TooSmall
from inspection.studies.pull_study import Assumption, pull_study


def pulled(appraisers, batches, pieces, seed):
    rng = np.random.default_rng(seed)
    values = 90 + rng.normal(0, 2, (appraisers, 1, 1)) + rng.normal(0, 6, (appraisers, batches, 1))
    return np.round(values + rng.normal(0, 2, (appraisers, batches, pieces)), 1)


studies = st.tuples(st.integers(2, 4), st.integers(2, 5), st.integers(2, 5), st.integers(0, 10_000)).map(lambda n: pulled(*n))


@given(studies)
@settings(max_examples=20, deadline=None)
def test_nested_analysis_agrees_with_statsmodels(values):
    rows = [(a, b, values[a, b, p]) for a, b, p in itertools.product(*map(range, values.shape))]
    frame = pandas.DataFrame(rows, columns=["appraiser", "batch", "value"])
    # A batch has no meaning outside its appraiser, so the nested sum of squares is that of all batches less that of the appraisers.
    among = anova_lm(ols("value ~ C(appraiser)", frame).fit()).loc["C(appraiser)", "sum_sq"]
    cells = anova_lm(ols("value ~ C(appraiser) : C(batch)", frame).fit())

    found = {row.origin: row for row in pull_study(values).rows}

    assert found[Origin.APPRAISER].ss == pytest.approx(among, rel=1e-7, abs=1e-8)
    assert found[Origin.EQUIPMENT].ss == pytest.approx(cells.loc["Residual", "sum_sq"], rel=1e-7)
    assert found[Origin.EQUIPMENT].df == cells.loc["Residual", "df"]
    total = float(((values - values.mean()) ** 2).sum())
    assert found[Origin.PART].ss == pytest.approx(total - among - cells.loc["Residual", "sum_sq"], rel=1e-6)
    assert found[Origin.TOTAL].ss == pytest.approx(total, rel=1e-9)
    assert found[Origin.APPRAISER].f == pytest.approx(found[Origin.APPRAISER].ms / found[Origin.PART].ms)


def test_components_of_hand_derived_sums():
    # Batch means 2, 6 / 8, 12 with pieces at -1 and +1 of each. Appraisers 4 and 10: 4 (3^2 + 3^2) = 72; batches: 2 (4 times 2^2) = 32
    # with 2 degrees of freedom; error 8 with 4. Components: 2; (16 - 2)/2 = 7; (72 - 16)/4 = 14.
    study = pull_study([[[1, 3], [5, 7]], [[7, 9], [11, 13]]])
    assert [(row.origin, row.df, row.ss) for row in study.rows] == [
        (Origin.APPRAISER, 1, 72),
        (Origin.PART, 2, 32),
        (Origin.EQUIPMENT, 4, 8),
        (Origin.TOTAL, 7, 112),
    ]
    variances = {c.origin: c.variance for c in study.variation.components}
    assert (variances[Origin.EQUIPMENT], variances[Origin.PART], variances[Origin.APPRAISER]) == (2, 7, 14)
    assert (variances[Origin.GAUGE], variances[Origin.TOTAL]) == (16, 23)
    assert study.assumption is Assumption.HOMOGENEOUS_BATCHES


@given(studies, st.floats(0.01, 100), st.randoms(use_true_random=False))
@settings(max_examples=20, deadline=None)
def test_nested_study_follows_scale_and_ignores_order(values, scale, random):
    shuffled = np.array(
        [[random.sample(list(b), len(b)) for b in random.sample(list(a), len(a))] for a in random.sample(list(values), len(values))]
    )
    before, after = pull_study(values), pull_study(shuffled * scale)
    for one, other in zip(before.variation.components, after.variation.components, strict=True):
        assert other.sigma == pytest.approx(one.sigma * scale, rel=1e-8, abs=1e-9)


def test_one_appraiser_and_one_limit():
    study = pull_study(pulled(1, 6, 4, 2), Yardstick(one_limit=60.0))
    assert study.reproducibility_defined is False
    assert [row.origin for row in study.rows] == [Origin.PART, Origin.EQUIPMENT, Origin.TOTAL]
    gauge = study.variation[Origin.GAUGE]
    assert gauge.percent_one_limit == pytest.approx(300 * gauge.sigma / (study.grand_mean - 60))
    assert study.standing_one_limit is not None


def test_batches_that_do_not_differ_are_said():
    same = pull_study([[[90.0, 92.0], [92.0, 90.0]], [[91.0, 91.5], [91.5, 91.0]]])
    assert same.variation[Origin.PART].set_to_zero
    assert same.batches_differ_p == pytest.approx(1.0)


def test_wide_range_within_a_batch_is_named():
    values = pulled(3, 5, 3, 1)
    values[1, 2] = [70, 95, 110]
    assert pull_study(values).ranges_beyond == ((1, 2),)


def test_unbalanced_batches_are_refused_by_index():
    with pytest.raises(MissingCells) as refused:
        pull_study([[[90, 91], [88, 87]], [[90, 91], [88]]])
    assert refused.value.cells == ((1, 1, 1),)
    with pytest.raises(TooSmall) as small:
        pull_study([[[90, 91]], [[90, 91]]])
    assert small.value.what == "batches"
