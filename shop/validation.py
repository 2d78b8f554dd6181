"""Lets the model's own constraints answer inside an act, as findings with their codes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models

from shop.finding import Finding, Refused, Verdict
from shop.wording import RULES

_FIXED = {
    "required": "data.required",
    "blank": "data.required",
    "null": "data.required",
    "unique": "data.unique",
    "unique_together": "data.unique",
}


def findings_from(error: ValidationError) -> list[Finding]:
    """A ValidationError as findings: its code where it is one of ours, else data.invalid with Django's message."""
    by_field: Mapping[str, Iterable[ValidationError]] = (
        error.error_dict if hasattr(error, "error_dict") else {NON_FIELD_ERRORS: error.error_list}
    )
    found = []
    for name, errors in by_field.items():
        for one in errors:
            code = str(one.code or "")
            rule = code if code in RULES else _FIXED.get(code, "data.invalid")
            compared: dict[str, Decimal | int | str] = {"message": " ".join(one.messages)}
            if rule == code:  # one of ours: its words may name the values it was raised with
                compared |= {key: value if isinstance(value, Decimal | int) else str(value) for key, value in (one.params or {}).items()}
            found.append(Finding(rule, Verdict.MISFIT, "" if name == NON_FIELD_ERRORS else name, compared))
    return found


def clean(instance: models.Model) -> None:
    """`full_clean` that refuses with findings."""
    try:
        instance.full_clean()
    except ValidationError as error:
        raise Refused(findings_from(error)) from error
