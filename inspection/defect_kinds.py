"""What can be wrong with a termination or a lot, by one code each: the visual criteria, values out of limits, how a pull test ended.

The codes are those under which findings are already stored; only what no inspection stores has a word of its own here.
"""

from __future__ import annotations

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from inspection.verdict import PullMode
from shop.characteristics import Characteristic
from shop.criteria import CROSS_SECTION, OWN, VISUAL_CRITERIA, is_cross_section, title_of

LIMITS, PULL, OTHER = "limits", "pull", "other"

OTHERS: dict[str, Promise] = {
    "other.part": _("wrong part or wrong place"),
    "other.quantity": _("wrong quantity, or mixed"),
    "other.damage": _("damaged in handling or packing"),
    "other.paper": _("document or label wrong or missing"),
    "other.process": _("instruction not followed"),
    "other.else": _("something else"),
}
"""Kinds that nobody looks for at a press: no sample can prove that they are gone."""

LONGEST = 80


def kind_of_criterion(code: str) -> str:
    """The kind of a rejected visual finding. Cross-sections of several pieces are one kind."""
    return CROSS_SECTION if is_cross_section(code) else code


def kind_of_reading(characteristic: str) -> str:
    return f"{LIMITS}.{characteristic}"


def kind_of_pull(mode: str) -> str:
    return f"{PULL}.{mode}"


def kind_words(kind: str) -> str:
    """A kind in words; of a code that is none any more, the code itself."""
    family, _dot, name = kind.partition(".")
    if kind in OTHERS:
        return str(OTHERS[kind])
    if kind == CROSS_SECTION:
        return str(_("cross-section"))
    if family == LIMITS and name in Characteristic.values:
        return str(_("{what} out of limits")).format(what=Characteristic(name).label)
    if family == PULL:
        return str(_("pull force too low: {mode}")).format(mode=name)
    return title_of(kind)


def is_kind(kind: str) -> bool:
    family, _dot, name = kind.partition(".")
    return (
        kind in OTHERS
        or kind == CROSS_SECTION
        or kind in {criterion.code for criterion in VISUAL_CRITERIA}
        or (family == LIMITS and name in Characteristic.values and name != Characteristic.PULL_FORCE)
        or (family == PULL and name in {mode.value for mode in PullMode})
        or (family == OWN and bool(name) and len(kind) <= LONGEST)
    )


def is_looked_for(kind: str) -> bool:
    """Whether samples at the press answer it, so that it can be counted since when it is gone."""
    return not kind.startswith(f"{OTHER}.")


def kind_choices() -> list[tuple[str, list[tuple[str, str]]]]:
    """Every kind with its words, in groups. A planner's own criteria come with the finding and are not listed."""
    measured = [kind_of_reading(value) for value in Characteristic.values if value != Characteristic.PULL_FORCE]
    pulls = [kind_of_pull(mode.value) for mode in PullMode]
    visual = [*(criterion.code for criterion in VISUAL_CRITERIA), CROSS_SECTION]
    groups = [(_("out of limits"), measured), (_("pull test"), pulls), (_("visual"), visual), (_("other"), list(OTHERS))]
    return [(str(word), [(kind, kind_words(kind)) for kind in kinds]) for word, kinds in groups]
