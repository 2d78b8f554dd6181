"""The advice on a current in words and figures, as a page shows it."""

from __future__ import annotations

from dataclasses import dataclass

from django.utils.translation import gettext as _

from shop.current import Carrier, CurrentAdvice, Standing
from shop.templatetags.shop import figure


@dataclass(frozen=True, slots=True)
class AdviceLine:
    """One part that carries the current. Figures are empty for the terminal, and where the material has none."""

    part: str
    outcome: str
    word: str
    source: str
    density: str = ""
    drop: str = ""
    heat: str = ""
    temperature: str = ""


@dataclass(frozen=True, slots=True)
class AdviceWords:
    current: str
    lines: tuple[AdviceLine, ...]


def advice_words(advice: CurrentAdvice) -> AdviceWords:
    lines = [
        AdviceLine(
            **_standing(wire.carrier, wire.standing),
            density=figure(wire.density_a_mm2),
            drop=figure(wire.drop_mv_m),
            heat=figure(wire.heat_w_m),
            temperature=figure(wire.temperature_c),
        )
        for wire in advice.wires
    ]
    lines.append(AdviceLine(**_standing(advice.terminal, advice.terminal_standing)))
    return AdviceWords(figure(advice.asked_a), tuple(lines))


def _standing(carrier: Carrier, standing: Standing) -> dict[str, str]:
    rated = figure(carrier.rating_a)
    word = {
        "within": _("within the {rating} A on record").format(rating=rated),
        "above": _("above the {rating} A on record").format(rating=rated),
        "not stated": _("no rating on record"),
    }[standing]
    outcome = {"within": "conforms", "above": "does not conform", "not stated": "undecided"}[standing]
    return {"part": carrier.part_number, "outcome": outcome, "word": word, "source": carrier.source}
