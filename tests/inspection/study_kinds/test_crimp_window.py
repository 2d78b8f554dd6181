"""The crimp window as a study: what is asked, entered and answered."""

import pytest
from django.urls import reverse

from inspection.acts.studies import analysis_of, open_study, opened, record_values
from inspection.models import Study
from shop.clock import now
from shop.finding import Refused

HEIGHTS = [height for height in ("1.10", "1.15", "1.20", "1.25", "1.30", "1.35", "1.40") for _ in range(5)]
NOISE = (-1.6, -0.8, 0.0, 0.8, 1.6)  # invented, the same at each height

SET_UP = {
    "wire": "W-075-RD, WL-1001",
    "pieces": "35",
    "force_min": "85",
    "resistance_max": "0.50",
    "compaction_min": "",
    "compaction_max": "",
    "degree": "2",
    "share": "99",
    "confidence": "95",
    "step": "0.01",
}


def values():
    given = {}
    for i, height in enumerate(HEIGHTS):
        x, e = float(height), NOISE[i % 5]
        given |= {
            f"{i + 1}|height": height,
            f"{i + 1}|force": f"{130 - 2500 * (x - 1.24) ** 2 + e:.1f}",
            f"{i + 1}|resistance": f"{0.30 + 1.2 * (x - 1.10) + 0.004 * e:.4f}",
        }
    return given


def open_window(cast, catalogue, **changed):
    return open_study(
        kind="crimp-window",
        title="Window",
        set_up=SET_UP | changed,
        tool=catalogue.tool,
        terminal=catalogue.terminal,
        by=cast.planner,
        at=now(),
    )


@pytest.fixture
def study(cast, catalogue):
    study = open_window(cast, catalogue)
    record_values(study=study, values=values(), by=cast.planner, at=now())
    return study


def test_window_is_proposed_with_what_ends_it(study):
    analysis = analysis_of(opened(study))
    assert analysis.outcome == "conforms"
    facts = {fact.label: fact for fact in analysis.sections[0].facts}
    assert (facts["From"].note, facts["To"].note) == ("ended by: pull force", "ended by: resistance")
    assert analysis.word == f"{facts['Proposed nominal'].value} ± {facts['Proposed tolerance, ±'].value} mm is proposed"
    low, high = float(analysis.content["window_low_mm"]), float(analysis.content["window_high_mm"])
    nominal, tolerance = float(facts["Proposed nominal"].value), float(facts["Proposed tolerance, ±"].value)
    assert low <= nominal - tolerance
    assert nominal + tolerance <= high


def test_each_response_has_its_figure_and_the_same_as_a_table(study):
    force, resistance = analysis_of(opened(study)).sections[1:]
    assert (force.title, resistance.title) == ("Pull force", "Resistance")
    assert len(force.figures[0].data.rows) == 35
    assert force.figures[0].svg.startswith("<svg")


def test_no_window_is_said_with_the_reason(cast, catalogue):
    study = open_window(cast, catalogue, force_min="140")
    record_values(study=study, values=values(), by=cast.planner, at=now())
    analysis = analysis_of(opened(study))
    assert (analysis.outcome, analysis.word) == ("does not conform", "no crimp height meets everything that is asked")
    assert "Pull force" in analysis.sections[0].notes[0]


def test_only_what_has_a_limit_is_asked_for(cast, catalogue):
    plain = opened(open_window(cast, catalogue, resistance_max=""))
    assert plain.layout.heads == ("Crimp height, mm", "Pull force, N")
    full = opened(open_window(cast, catalogue, compaction_min="15", compaction_max="20"))
    assert full.layout.heads[-1] == "Compaction, %"
    with pytest.raises(Refused) as refused:
        open_window(cast, catalogue, compaction_min="20", compaction_max="15")
    assert refused.value.findings[0].field == "compaction_max"
    assert Study.objects.count() == 2


def test_too_few_heights_are_refused_with_the_number(cast, catalogue):
    study = open_window(cast, catalogue, pieces="8", resistance_max="")
    given = {f"{n}|height": h for n, h in enumerate(["1.1", "1.1", "1.1", "1.2", "1.2", "1.2", "1.3", "1.3"], start=1)}
    given |= {f"{n}|force": f"{100 + n}" for n in range(1, 9)}
    record_values(study=study, values=given, by=cast.planner, at=now())
    with pytest.raises(Refused) as refused:
        analysis_of(opened(study))
    (finding,) = refused.value.findings
    assert (finding.rule, finding.compared["needed"], finding.compared["given"]) == ("study.too_few", 4, 3)


def test_planner_sees_the_window_on_the_page(study, signed_in, cast):
    page = signed_in(cast.planner).get(reverse("studies:study", args=[study.number]))
    assert page.context["page"].analysis.outcome == "conforms"
    assert page.content.decode().count("<svg") >= 2
