"""Filters that word numbers and times the same way on every page. They show; they do not decide."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import Any
from urllib.parse import urlencode

from django import template
from django.template.base import Parser, Token
from django.template.defaulttags import URLNode
from django.template.defaulttags import url as django_url
from django.urls import reverse
from django.utils import timezone
from django.utils.html import conditional_escape
from django.utils.safestring import SafeString

from shop.figures import spoken
from shop.pages.addresses import address
from shop.people import Person, Role
from shop.saved_searches import SavedSearch

register = template.Library()


def figure(value: Decimal | int | None, places: int = 0) -> str:
    """A stored decimal without the zeros of its column, but with at least `places` decimals: 1.4000 with 2 reads 1.40."""
    if value is None:
        return ""
    if isinstance(value, int):
        return str(value)
    text = format(value.normalize(), "f")
    shown = len(text.split(".")[1]) if "." in text else 0
    return text if shown >= places else format(value, f".{places}f")


@register.filter("figure")
def spoken_figure(value: Decimal | int | None, places: int = 0) -> str:
    """`figure` as the reader's language writes it; what is signed or sent is made by `figure` itself."""
    return spoken(figure(value, places))


register.filter("spoken", spoken)


@register.filter
def role_word(role: str) -> str:
    return str(Role(role).label)


@register.filter
def moment(value: datetime | None) -> str:
    """A time in the shop's zone, with its offset: 2026-03-02 14:05 UTC+01:00."""
    if value is None:
        return ""
    local = timezone.localtime(value, timezone.get_default_timezone())
    return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"


VERDICTS = {
    "conforms": ("conforms", "fits", "proven"),
    "misfit": ("does not conform", "misfit", "failed"),
    "undecided": ("undecided", "undecidable"),
    "conceded": ("conceded",),
}
_VERDICT_OF = {outcome: verdict for verdict, outcomes in VERDICTS.items() for outcome in outcomes}


@register.filter
def verdict(outcome: str) -> str:
    """The verdict's class in the style sheet, whatever the outcome, the state of a part or a finding's verdict is called; else it waits."""
    return _VERDICT_OF.get(outcome, "waiting")


@register.filter
def shape(outcome: str) -> SafeString:
    """The verdict's shape: what colour alone must not tell."""
    return SafeString(f'<svg class="shape" aria-hidden="true"><use href="#v-{verdict(outcome)}"/></svg>')


class _Url(URLNode):
    """Django's own for what it cannot remember: keywords, `as`, and arguments that are neither text nor a whole number."""

    def render(self, context: template.Context) -> str:
        args = () if self.asvar or self.kwargs else tuple(arg.resolve(context) for arg in self.args)
        if self.asvar or self.kwargs or not all(isinstance(arg, str | int) and not isinstance(arg, bool) for arg in args):
            return super().render(context)
        url = address(self.view_name.resolve(context), *args)
        return conditional_escape(url) if context.autoescape else url


@register.tag
def url(parser: Parser, token: Token) -> URLNode:
    """Django's `url`, remembered: a page asks for some twenty, most of them the same each time."""
    node = django_url(parser, token)
    return _Url(node.view_name, node.args, node.kwargs, node.asvar)


@register.inclusion_tag("_saved.html", takes_context=True)
def saved_here(context: dict[str, Any], *, everywhere: bool = False) -> dict[str, Any]:
    """The saved questions about this page (or about any), and the link that saves the one asked now."""
    request, person = context["request"], context["person"]
    if not isinstance(person, Person):
        return {"rows": [], "save_url": ""}
    rows = SavedSearch.objects.for_person(person)
    rows = rows if everywhere else rows.filter(path=request.path)
    asked = request.GET.copy()
    asked.pop("page", None)
    here = f"{request.path}?{asked.urlencode()}"
    return {"rows": list(rows[:20]), "save_url": f"{reverse('saved')}?{urlencode({'address': here})}" if asked else ""}
