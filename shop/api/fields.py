"""Serializer fields and serializers that read strictly: exact figures, whole counts, no field that nobody knows."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from django.db.models import Choices
from drf_spectacular.drainage import set_override
from drf_spectacular.plumbing import resolve_type_hint
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.exceptions import ErrorDetail, ValidationError

from shop.canonical import plain
from shop.templatetags.shop import figure

if TYPE_CHECKING:
    AnyField = serializers.Field[Any, Any, Any, Any]
    AnySerializer = serializers.Serializer[Any]
else:
    AnyField = serializers.Field
    AnySerializer = serializers.Serializer

LARGEST_COUNT = 2_147_483_647


@extend_schema_field(
    {
        "oneOf": [{"type": "string", "maxLength": 40}, {"type": "number"}],
        "description": "A figure as text, with its unit where the field takes one (“0.055 in”), or as a JSON number, read exactly.",
        "example": "1.40",
    }
)
class FigureIn(AnyField):
    """A figure as typed: the act parses it. A JSON number becomes the text that was sent; a true or a list is no figure."""

    default_error_messages = {"invalid": "A figure is a text or a number.", "long": "A figure has at most 40 characters."}

    def to_internal_value(self, data: Any) -> str:
        if isinstance(data, bool) or not isinstance(data, str | int | Decimal):
            self.fail("invalid")
        text = data if isinstance(data, str) else str(data)
        if len(text) > 40:
            self.fail("long")
        checked: str = serializers.CharField(allow_blank=True).run_validation(text)
        return checked


@extend_schema_field({"type": "string", "format": "decimal", "example": "1.4", "description": "An exact decimal as text."})
class FigureOut(AnyField):
    """A stored decimal without the zeros of its column."""

    def __init__(self, places: int = 0, **options: Any) -> None:
        self.places = places
        super().__init__(read_only=True, **options)

    def to_representation(self, value: Any) -> str:
        return figure(value, self.places)


class Count(serializers.IntegerField):
    """A whole number from zero, or `least`, up to what a column holds."""

    def __init__(self, least: int = 0, **options: Any) -> None:
        options.setdefault("min_value", least)
        options.setdefault("max_value", LARGEST_COUNT)
        super().__init__(**options)

    def to_internal_value(self, data: Any) -> int:
        if isinstance(data, bool):
            self.fail("invalid")
        return super().to_internal_value(data)


class Word(serializers.CharField):
    """One of the words of a list of choices. The schema names the list; whether the word is one, the act says."""

    def __init__(self, choices: type[Choices], **options: Any) -> None:
        super().__init__(**options)
        if options.get("allow_blank"):  # not a list of its own beside the one without the empty word
            set_override(self, "field", {"allOf": [{"type": "string", "enum": [*choices.values, ""]}]})
        else:
            set_override(self, "field", {"type": "string", "enum": list(choices.values)})
            set_override(self, "field_component_name", choices.__name__)


class Asked(AnySerializer):
    """A request's body. A field that nobody knows is refused: a mistyped “confirmd” is not silently lost."""

    def to_internal_value(self, data: Any) -> Any:
        errors: dict[str, Any] = {}
        if isinstance(data, Mapping):
            fields = ", ".join(self.fields)
            errors = {name: [ErrorDetail(fields, code="unknown_field")] for name in data if name not in self.fields}
        try:
            value = super().to_internal_value(data)
        except ValidationError as error:
            if not isinstance(error.detail, dict):
                raise
            raise ValidationError({**error.detail, **errors}) from None
        if errors:
            raise ValidationError(errors)
        return value


class SignatureIn(Asked):
    """A signature: who, and their secret again at this moment. What it means, the address fixes."""

    identifier = serializers.CharField(
        max_length=60, required=False, default="", allow_blank=True, help_text="Badge or user name; left out, the caller's own."
    )
    secret = serializers.CharField(
        max_length=200, trim_whitespace=False, allow_blank=True, write_only=True, help_text="PIN or password. It is kept nowhere."
    )


def shape_of(hint: Any) -> dict[str, Any]:
    """The schema of a TypedDict."""
    schema: dict[str, Any] = resolve_type_hint(hint)  # type: ignore[no-untyped-call]  # the library's own
    return schema


class Shape(AnyField):
    """Plain data as it is signed or printed, described by the TypedDict `hint`. Times and decimals are the text that the hash covers."""

    def __init__(self, hint: Any, **options: Any) -> None:
        super().__init__(read_only=True, **options)
        set_override(self, "field", shape_of(hint))
        set_override(self, "field_component_name", hint.__name__)

    def to_representation(self, value: Any) -> Any:
        return plain(value)


class CompareOut(serializers.DictField):
    child = serializers.CharField()


class FindingSerializer(AnySerializer):
    """One rule's answer in words. `rule` is stable; the words may change."""

    rule = serializers.CharField(help_text="The rule's code, explained at /help/rules/#code.")
    verdict = serializers.CharField(help_text="fits, misfit, undecidable or conceded.")
    field = serializers.CharField(help_text="The field of the request it is about; empty for the whole.")
    title = serializers.CharField()
    what = serializers.CharField(help_text="What was found.")
    expected = serializers.CharField(help_text="What would fit; empty where it fits.")
    next_step = serializers.CharField(help_text="What to do next; empty where it fits.")
    compared = CompareOut(help_text="The figures and names compared, as text, the unit in the name.")


class RowSerializer(AnySerializer):
    """What is wrong with one row of an imported file."""

    line = serializers.IntegerField(help_text="Line of the file, from 1.")
    column = serializers.CharField(help_text="Empty for the whole row.")
    rule = serializers.CharField()
    reason = serializers.CharField()


class ProblemSerializer(AnySerializer):
    """Problem details (RFC 9457): the one shape of every error."""

    type = serializers.CharField(help_text="Address of the first finding's rule in the handbook, relative to this server.")
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(help_text="What was wrong, what was expected, what to do next.")
    instance = serializers.CharField(help_text="The address that was asked.")
    findings = FindingSerializer(many=True, help_text="Every finding, not only the first.")
    rows = RowSerializer(many=True, required=False, help_text="Of a refused import only: every row that is wrong.")
