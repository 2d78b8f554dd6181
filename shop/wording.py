"""Turns a finding into the three parts of a refusal: what was wrong, what was expected, what to do next.

Each app keeps the words of its own rules in a `rules.py` and registers them at start; a code without words fails a system check
(and the handbook test), so a refusal never reaches a person as a bare code.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext as _

from shop.figures import spoken
from shop.finding import Finding, Verdict

Text = str | Promise


@dataclass(frozen=True, slots=True)
class RuleText:
    """The words of one rule. `{name}` stands for a value in `Finding.compared`.

    title: what the rule is about, a few words ("Conductor size in the terminal").
    fits / misfit / undecidable: one sentence each; expected and next_step belong to a refusal. An empty text is left out.
    concedable: whether quality may let this rule through by a concession.
    """

    title: Text
    misfit: Text
    expected: Text = ""
    next_step: Text = ""
    fits: Text = ""
    undecidable: Text = ""
    concedable: bool = False


@dataclass(frozen=True, slots=True)
class Worded:
    """A finding in words, ready for a page, problem details or a document."""

    rule: str
    verdict: str
    field: str
    title: str
    what: str
    expected: str
    next_step: str

    @property
    def sentence(self) -> str:
        return " ".join(part for part in (self.what, self.expected, self.next_step) if part)


RULES: dict[str, RuleText] = {}


def register(rules: Mapping[str, RuleText]) -> None:
    """Add the words of an app's rules. A code may be worded once only: a second wording raises ValueError."""
    doubled = RULES.keys() & rules.keys()
    if any(RULES[code] is not rules[code] for code in doubled):
        raise ValueError(f"rule worded twice: {', '.join(sorted(doubled))}")
    RULES.update(rules)


def shown(value: Decimal | int | str) -> str:
    """A compared value as people read it."""
    if isinstance(value, Decimal):
        # 0.7500 from a database column reads as 0.75, and 1E+2 as 100.
        text = format(value, "f")
        return spoken(text.rstrip("0").rstrip(".") if "." in text else text)
    return str(value)


def worded(finding: Finding) -> Worded:
    """Word one finding. Raises KeyError for a code nobody worded: that is a defect, not a user's error."""
    text = RULES[finding.rule]
    values = {key: shown(value) for key, value in finding.compared.items()}
    what = _sentence(text, finding).format_map(values)
    refusing = finding.blocks
    if finding.verdict is Verdict.CONCEDED:
        what += " " + _("Let through by concession {concession}.").format_map({"concession": "?", **values})
    return Worded(
        rule=finding.rule,
        verdict=finding.verdict,
        field=finding.field,
        title=str(text.title),
        what=what,
        expected=str(text.expected).format_map(values) if refusing else "",
        next_step=str(text.next_step).format_map(values) if refusing else "",
    )


def _sentence(text: RuleText, finding: Finding) -> str:
    """The sentence of a verdict; of what was conceded, the sentence of the verdict it would have had."""
    verdict = finding.verdict
    if verdict is Verdict.CONCEDED:
        verdict = Verdict(str(finding.compared.get("conceded_from", Verdict.MISFIT)))
    return str({Verdict.FITS: text.fits, Verdict.UNDECIDABLE: text.undecidable or text.misfit}.get(verdict, text.misfit))
