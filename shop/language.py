"""Each person reads in a language of their own: what they chose, else what their browser asks for."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import ParamSpec, TypeVar

from django.conf import settings
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.utils import translation

from shop.people import Person

Given = ParamSpec("Given")
Made = TypeVar("Made")


def in_the_shops_language(make: Callable[Given, Made]) -> Callable[Given, Made]:
    """For what is signed, recorded or printed: its words are the shop's, in whatever language somebody reads the pages."""

    @wraps(make)
    def made(*args: Given.args, **named: Given.kwargs) -> Made:
        with translation.override(settings.LANGUAGE_CODE):
            return make(*args, **named)

    return made


class OwnLanguage:
    """Stands after the sign-in: what Django's LocaleMiddleware chose by cookie or browser gives way to what the person chose.

    Only pages change. What is signed or recorded, and documents, keep to the shop's language.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        person = request.user
        if isinstance(person, Person) and person.language:
            translation.activate(person.language)
            request.LANGUAGE_CODE = translation.get_language()  # as LocaleMiddleware sets it
        return self.get_response(request)
