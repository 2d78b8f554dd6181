"""Fresh cases for the tablet's verdict, drawn by hypothesis: texts that a person or a gauge might type, and some that nobody would."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from inspection.guard_band import GuardRule, RuleDoesNotApply
from tests.inspection.verdict_vectors import case

UNITS = {
    "length": ("mm", "in", "µm", "mil", "cm", '"', "N", "", "ft"),
    "force": ("N", "lbf", "kN", "kgf", "ozf", "kg", "mm"),
    "resistance": ("mΩ", "µΩ", "Ω", "mohm", "MΩ", "%"),
    "share": ("%", "mm"),
}
NUMBERS = st.one_of(
    st.decimals(min_value=0, max_value=200, places=4).map(lambda d: f"{d:f}"),
    st.decimals(min_value=0, max_value=3, places=3).map(lambda d: f"{d:f}".replace(".", ",")),
    st.from_regex(r"\A[+−-]?[0-9]{0,9}[.,]?[0-9]{0,12}(e[+-]?[0-9]{1,2})?\Z"),
    st.text(alphabet="0123456789.,eE+-' µmΩnkglbfi", max_size=12),
)


@st.composite
def fresh_cases(draw: st.DrawFn) -> dict[str, Any]:
    quantity = draw(st.sampled_from(sorted(UNITS)))
    unit = draw(st.sampled_from(UNITS[quantity]))
    text = draw(NUMBERS) + draw(st.sampled_from(["", " "])) + draw(st.sampled_from(["", "", *UNITS[quantity]]))
    low = draw(st.decimals(min_value="0.01", max_value=90, places=3))
    width = draw(st.decimals(min_value="0.001", max_value=5, places=3))
    low_text, high_text = draw(st.sampled_from([(f"{low:f}", f"{low + width:f}"), (f"{low:f}", None), (None, f"{low + width:f}")]))
    rule = draw(st.sampled_from([GuardRule.SIMPLE, GuardRule.EXPANDED, GuardRule.CONFORMANCE_95]))
    u = draw(st.decimals(min_value="0.0001", max_value=Decimal("0.5"), places=4))
    confirmed = draw(st.booleans())
    given = {"unit": unit, "quantity": quantity, "low": low_text, "high": high_text, "confirmed": confirmed}
    try:
        return case(text, rule=rule, u=f"{u:f}", **given)
    except RuleDoesNotApply:
        return case(text, **given)
