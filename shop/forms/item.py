"""What the forms of all catalogue kinds have in common: one form serves the page, the API and each row of an imported file."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any, ClassVar

from django import forms
from django.db import models
from django.forms.models import model_to_dict
from django.utils.translation import gettext_lazy as _

from shop.forms.fields import KeyField, QuantityField, YesNoField
from shop.templatetags.shop import figure

if TYPE_CHECKING:
    _ModelForm = forms.ModelForm[Any]
else:
    _ModelForm = forms.ModelForm  # not subscriptable at run time

Groups = tuple[tuple[Any, tuple[str, ...]], ...]


class ItemForm(_ModelForm):
    """A form over one catalogue item.

    groups: (title, field names) in the order of the page; a field named in none stands in the last one.
    only_new: fields that are stated when the item is added and changed by an act of their own afterwards.
    """

    groups: ClassVar[Groups] = ()
    only_new: ClassVar[tuple[str, ...]] = ()
    leave_constraints = False  # set for the rows of a file: the database answers when the row is written

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for name, field in self.fields.items():
            if not self.instance.pk and has_default(self._meta.model, name):
                self.initial.setdefault(name, getattr(self.instance, name))
            if isinstance(field, KeyField):
                field.offer()
                if self.instance.pk:
                    self.initial[name] = getattr(self.instance, name)
            elif isinstance(field, forms.ChoiceField) and not isinstance(field, forms.MultipleChoiceField):
                choices: Any = field.choices
                if choices and not choices[0][0]:
                    field.choices = [("", _("choose one") if field.required else _("any")), *choices[1:]]
                words = ", ".join(str(value) for value, _label in choices if value).replace("%", "%%")  # one of them may be a percent sign
                field.error_messages["invalid_choice"] = _("“%(value)s” is none of: {words}.").format(words=words)
        if self.instance.pk:
            for name in self.only_new:
                del self.fields[name]

    def turn_to(self, values: Mapping[str, Any], instance: models.Model | None) -> None:
        """The same form over another row of a file: building a form costs several times what it takes to check a row.

        A form that was built for a new item turns to new ones only, and one of an existing item to existing ones.
        """
        self.data, self.is_bound = values, True
        if instance is not None:
            self.instance = instance
            self.initial = model_to_dict(instance, self._meta.fields, self._meta.exclude)
            self.initial |= {name: getattr(instance, name) for name, field in self.fields.items() if isinstance(field, KeyField)}
            self._bound_fields_cache.clear()  # type: ignore[attr-defined]  # each knows the initial value of the row before
        else:
            self.instance = self._meta.model()
        self._errors = None
        self.cleaned_data = {}
        self.__dict__.pop("changed_data", None)

    def _get_validation_exclusions(self) -> set[str]:
        excluded: set[str] = super()._get_validation_exclusions()  # type: ignore[misc]  # Django's own, without a type
        if self.leave_constraints:
            # The item it names was found a moment ago; asking once more whether it exists is a question to the database for each row.
            excluded |= {name for name, field in self.fields.items() if isinstance(field, KeyField)}
        return excluded

    def validate_unique(self) -> None:
        """The act asks the whole item once: unique columns and constraints, the computed ones included. The form would ask them twice."""

    def _post_clean(self) -> None:
        if not self.leave_constraints:
            super()._post_clean()  # type: ignore[misc]  # Django's own, without a type
            return
        # Django lets a form leave out unique columns, but not constraints: each of them would be a question to the database of its own.
        self.instance.validate_constraints = lambda exclude=None: None
        try:
            super()._post_clean()  # type: ignore[misc]
        finally:
            del self.instance.validate_constraints

    def extra_values(self) -> Mapping[str, Any]:
        """What belongs to the item but stands in no column of it."""
        return {}

    def save_extra(self) -> None:
        """Write what belongs to the item but stands in no column of it. Called inside the act's transaction, after the item is saved."""

    def groups_shown(self) -> list[tuple[str, list[list[forms.BoundField]]]]:
        """The fields as they stand on the page: (title, rows of fields). The ends of a range stand in one row."""
        return [(title, _rows(fields)) for title, fields in self._groups()]

    def _groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        placed = {name for _title, names in self.groups for name in names}
        rest = [name for name in self.fields if name not in placed]
        groups = [(str(title), [self[name] for name in names if name in self.fields]) for title, names in self.groups]
        if not groups:
            return [("", [self[name] for name in rest])]
        groups[-1][1].extend(self[name] for name in rest)
        return [group for group in groups if group[1]]


def _rows(fields: list[forms.BoundField]) -> list[list[forms.BoundField]]:
    rows: list[list[forms.BoundField]] = []
    for field in fields:
        stem = _RANGE_END.sub("_", field.name)
        if rows and stem != field.name and _RANGE_END.sub("_", rows[-1][0].name) == stem:
            rows[-1].append(field)
        else:
            rows.append([field])
    return rows


_RANGE_END = re.compile(r"_(min|nominal|max)_")


def has_default(model: type[models.Model], name: str) -> bool:
    """Whether a new item of this model has a value in this column before anybody wrote one."""
    return any(f.name == name and f.has_default() for f in model._meta.concrete_fields)


def text_of(value: Any) -> str:
    """A value as one would write it into the form or a file: exact, in the stored unit."""
    if value is None:
        return ""
    if value is True or value is False:
        return "yes" if value else "no"
    if isinstance(value, list | tuple | set | frozenset):
        return ", ".join(sorted(map(str, value)))
    if isinstance(value, models.Model):
        return str(value)
    return str(figure(value)) if hasattr(value, "as_tuple") else str(value)


def is_figure(field: forms.Field) -> bool:
    return isinstance(field, QuantityField)


def is_yes_no(field: forms.Field) -> bool:
    return isinstance(field, YesNoField)
