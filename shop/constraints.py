"""Whether a model's constraints hold, answered in Python for many items: only what is in doubt is asked of the database.

The constraints themselves stand in the models and nowhere else. Here their conditions are read as they are; what cannot be read is in
doubt, and so is a comparison with nothing (SQL has it unknown).
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from typing import Any

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.db import models
from django.db.models import CheckConstraint, F, Q, UniqueConstraint

Answer = bool | None
Condition = Callable[[Any], Answer]

_COMPARISONS: Mapping[str, Callable[[Any, Any], bool]] = {
    "exact": operator.eq,
    "gt": operator.gt,
    "gte": operator.ge,
    "lt": operator.lt,
    "lte": operator.le,
}


def condition_of(q: Any) -> Condition:
    """A condition as a function of an item: True, False, or None where it cannot be decided here."""
    if not isinstance(q, Q):
        return lambda item: None
    parts = [condition_of(child) if isinstance(child, Q) else _comparison(child) for child in q.children]
    joined = _any(parts) if q.connector == Q.OR else _all(parts) if q.connector == Q.AND else (lambda item: None)
    return _not(joined) if q.negated else joined


def _any(parts: list[Condition]) -> Condition:
    def answer(item: Any) -> Answer:
        doubt = False
        for part in parts:
            one = part(item)
            if one:
                return True
            doubt = doubt or one is None
        return None if doubt else False

    return answer


def _all(parts: list[Condition]) -> Condition:
    refused = _any([_not(part) for part in parts])
    return _not(refused)


def _not(part: Condition) -> Condition:
    def answer(item: Any) -> Answer:
        one = part(item)
        return None if one is None else not one

    return answer


def _comparison(child: Any) -> Condition:
    if not isinstance(child, tuple):
        return lambda item: None
    path, wanted = child
    name, _joint, lookup = path.partition("__")
    lookup = lookup or "exact"
    if lookup == "isnull":
        return lambda item: (getattr(item, name) is None) is bool(wanted)
    compare = _COMPARISONS.get(lookup)
    if compare is None or isinstance(wanted, models.Model) or (hasattr(wanted, "resolve_expression") and not isinstance(wanted, F)):
        return lambda item: None

    beside: Any = wanted

    def answer(item: Any) -> Answer:
        value = getattr(item, name)
        other = getattr(item, beside.name, None) if isinstance(wanted, F) else wanted
        return None if value is None or other is None else compare(value, other)

    return answer


class UniqueIndex:
    """The values of one unique constraint that are taken: by rows of the database, and by items of a file that came before.

    A holder is a primary key, or any other name for an item that is not written yet.
    """

    def __init__(self, model: type[models.Model], fields: tuple[str, ...], constraint: UniqueConstraint | None = None) -> None:
        self.model, self.fields, self.constraint = model, fields, constraint
        self._names = [model._meta.get_field(name).attname for name in fields]  # type: ignore[union-attr]  # columns only
        condition = constraint.condition if constraint is not None else None
        self._covers = condition_of(condition) if condition is not None else (lambda item: True)
        rows = model._base_manager.filter(condition) if condition is not None else model._base_manager.all()
        self._holder: dict[tuple[Any, ...], Any] = {}
        self._held: dict[Any, tuple[Any, ...]] = {}
        for pk, *values in rows.values_list("pk", *self._names):
            self._take(tuple(values), pk)

    def _take(self, values: tuple[Any, ...], holder: Any) -> None:
        if None not in values:  # null is equal to nothing
            self._holder[values], self._held[holder] = holder, values

    def claim(self, item: models.Model, holder: Any) -> bool:
        """Take the item's values for this holder and give back those it held. False where another has them, and nothing changes."""
        if self._covers(item) is False:
            self._give_back(holder)
            return True
        values = tuple(getattr(item, name) for name in self._names)
        if self._holder.get(values, holder) != holder:
            return False
        self._give_back(holder)
        self._take(values, holder)
        return True

    def _give_back(self, holder: Any) -> None:
        before = self._held.pop(holder, None)
        if before is not None:
            del self._holder[before]

    def error(self, item: models.Model) -> ValidationError:
        """What Django says of an item whose values another has."""
        if self.constraint is not None and self.constraint.condition is not None:
            code = self.constraint.violation_error_code
            return ValidationError(str(self.constraint.get_violation_error_message()), code=code)
        said = item.unique_error_message(self.model, self.fields)
        return ValidationError({self.fields[0] if len(self.fields) == 1 else NON_FIELD_ERRORS: said})


def checks_of(model: type[models.Model]) -> list[Condition]:
    """The check constraints of a model."""
    return [condition_of(c.condition) for c in model._meta.constraints if isinstance(c, CheckConstraint)]


def unique_indexes(model: type[models.Model], *, but: tuple[str, ...]) -> list[UniqueIndex]:
    """An index of each thing that has to be unique, except the fields in `but`, which the caller watches itself."""
    single = [(f.name,) for f in model._meta.concrete_fields if f.unique and not f.primary_key]
    found = [UniqueIndex(model, fields) for fields in single if set(fields) != set(but)]
    for constraint in model._meta.constraints:
        if not isinstance(constraint, UniqueConstraint) or not constraint.fields:
            continue  # over an expression: the database alone knows
        if constraint.condition is not None or set(constraint.fields) != set(but):
            found.append(UniqueIndex(model, tuple(constraint.fields), constraint))
    return found
