"""Model fields and constraints that several parts of the shop share."""

from __future__ import annotations

import itertools
from functools import cache
from typing import TYPE_CHECKING, Any

from django.core.validators import RegexValidator
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

# What a label or a scanner can carry: no spaces at the ends, no control characters, nothing that breaks an address.
key_validator = RegexValidator(
    r"^[A-Za-z0-9][A-Za-z0-9 ._+\-]*$",
    _("Use letters, digits, space and . _ + - and begin with a letter or digit."),
    code="data.key.characters",
)


def key_field(verbose_name: Any, **options: Any) -> models.CharField[str, str]:
    """A number or name by which people and scanners find a thing."""
    return models.CharField(verbose_name, max_length=60, validators=[key_validator], **options)


def item_number_field() -> models.CharField[str, str]:
    """The GTIN on the supplier's labels, as 14 figures with the check digit right (`shop.scanned.gtin14`); empty where it is not known."""
    return models.CharField(_("item number (GTIN)"), max_length=14, blank=True, db_index=True)


if TYPE_CHECKING:
    _Decimal = models.DecimalField[Any, Any]
else:
    _Decimal = models.DecimalField  # not subscriptable at run time


class MillimetreField(_Decimal):
    """A length in mm with four decimals: a tenth of a micrometre, below any shop gauge's resolution."""

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("max_digits", 10)
        options.setdefault("decimal_places", 4)
        super().__init__(*args, **options)


class SquareMillimetreField(MillimetreField):
    """An area in mm² with four decimals (0.0001 mm² is a fortieth of AWG 40)."""


class NewtonField(_Decimal):
    """A force in N with two decimals."""

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("max_digits", 10)
        options.setdefault("decimal_places", 2)
        super().__init__(*args, **options)


class AmpereField(_Decimal):
    """A current in A with three decimals."""

    def __init__(self, *args: Any, **options: Any) -> None:
        options.setdefault("max_digits", 10)
        options.setdefault("decimal_places", 3)
        super().__init__(*args, **options)


def ordered(low: str, high: str, name: str, *, nominal: str | None = None) -> models.CheckConstraint:
    """low <= nominal <= high, where each is given."""
    chain = [low, nominal, high] if nominal else [low, high]
    condition = Q()
    for first, second in itertools.pairwise(chain):
        condition &= Q(**{f"{first}__isnull": True}) | Q(**{f"{second}__isnull": True}) | Q(**{f"{first}__lte": F(second)})
    if nominal:  # low <= high also where no nominal stands between them
        condition &= Q(**{f"{low}__isnull": True}) | Q(**{f"{high}__isnull": True}) | Q(**{f"{low}__lte": F(high)})
    return models.CheckConstraint(
        condition=condition,
        name=name,
        violation_error_code="data.limits.order",
        violation_error_message=_("The limits are not in order: lowest, nominal, highest."),
    )


def positive(field: str, name: str) -> models.CheckConstraint:
    """Greater than zero, or not given."""
    return models.CheckConstraint(
        condition=Q(**{f"{field}__isnull": True}) | Q(**{f"{field}__gt": 0}),
        name=name,
        violation_error_code="data.positive",
        violation_error_message=_("The value must be greater than zero."),
    )


@cache
def _labels(column: models.Field[Any, Any]) -> dict[Any, Any]:
    return dict(column.flatchoices)


def label_of(thing: models.Model, column: str) -> str:
    """What Django's `get_..._display` says, in the reader's language, without going through all choices for each row."""
    value = getattr(thing, column)
    return str(_labels(thing._meta.get_field(column)).get(value, value))
