"""Constraints answered in Python agree with the database, for every check of every catalogue kind."""

from __future__ import annotations

from decimal import Decimal
from types import SimpleNamespace

import pytest
from django.db import models
from django.db.models import CheckConstraint, F, Q
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shop.catalogue import KINDS
from shop.constraints import UniqueIndex, condition_of, unique_indexes
from shop.specifications import CrimpSpecification
from tests import factories

CHECKS = [
    pytest.param(kind.model, constraint, id=constraint.name)
    for kind in KINDS.values()
    for constraint in kind.model._meta.constraints
    if isinstance(constraint, CheckConstraint)
]


def names_in(q):
    for child in q.children:
        if isinstance(child, Q):
            yield from names_in(child)
        else:
            yield child[0].partition("__")[0]
            if isinstance(child[1], F):
                yield child[1].name


def values_of(field):
    if isinstance(field, models.DecimalField):
        return st.decimals(-2, 2, places=field.decimal_places)
    if isinstance(field, models.DateField):
        return st.dates(factories.days(-3), factories.days(3))
    return st.integers(0, 3)


@pytest.mark.parametrize(("model", "constraint"), CHECKS)
@settings(max_examples=25, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_python_says_what_the_database_says(db, model, constraint, data):
    fields = {name: model._meta.get_field(name) for name in sorted(set(names_in(constraint.condition)))}
    values = {name: data.draw(st.none() | values_of(field)) for name, field in fields.items()}
    answer = condition_of(constraint.condition)(SimpleNamespace(**values))
    against = {name: models.Value(value, output_field=fields[name]) for name, value in values.items()}
    assert answer is None or answer is constraint.condition.check(against)
    if None not in values.values():
        assert answer is not None  # nothing that is stated is left in doubt, or every row would ask the database


@pytest.mark.parametrize("q", [Q(size__icontains="x"), Q(size__gt=F("size") + 1), Q(wire__colour="red") & Q(size=1), ~Q(size__regex="x")])
def test_what_cannot_be_read_is_in_doubt(q):
    assert condition_of(q)(SimpleNamespace(size=1, wire="red")) in (None, False)
    assert condition_of(q | Q(size=1))(SimpleNamespace(size=1, wire="red")) is True


def test_unique_values_are_taken_and_given_back(catalogue):
    index = next(one for one in unique_indexes(CrimpSpecification, but=("number", "revision")) if one.constraint)
    spec = catalogue.specification
    other = CrimpSpecification(number=spec.number, withdrawn_on=None, csa_min_mm2=Decimal(1))
    assert not index.claim(other, "line 2")
    assert index.error(other).code == "data.specification.current"
    spec.withdrawn_on = factories.today()  # no longer in force: it gives its place back
    assert index.claim(spec, spec.pk)
    assert index.claim(other, "line 2")
    spec.withdrawn_on = None
    assert not index.claim(spec, spec.pk)


def test_nothing_is_equal_to_nothing(cast):
    model = type(cast.planner)
    index = UniqueIndex(model, ("badge",))
    assert index.claim(model(badge=None), "line 2")
    assert index.claim(model(badge=None), "line 3")
