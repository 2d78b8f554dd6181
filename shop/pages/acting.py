"""Turns a refused act into the page that says why: status 422 with the findings in words, 409 where somebody was faster.

Every view that performs an act carries the decorator. Without more it answers with a page of its own:

    @acting
    def submit(request, pk): ...

A page with a form names the view that draws it again, with what was typed still in it:

    def termination_page(request, pk, *, refusal=None):
        form = TerminationForm(request.POST or None)
        if refusal:
            refusal.tell(form)          # findings at their fields; what has no field stays in refusal.rest
        return render(request, "plan/termination.html", {"page": ..., "form": form, "refusal": refusal})

    @acting(again=termination_page)
    def save_termination(request, pk): ...

`again` gets the request, the view's own arguments and `refusal`; its answer is given the refusal's status. In the template,
`{% include "_refusal.html" with findings=refusal.rest %}` and `{% include "_form_errors.html" %}` gather everything at the top.
Floor pages pass `template="..."` for a refusal page in their own dress; it gets `refusal` and `back`.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, overload
from urllib.parse import urlsplit

from django.contrib.auth.models import AnonymousUser
from django.core.exceptions import PermissionDenied
from django.db import IntegrityError
from django.forms import BaseForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from shop.finding import Finding, Refused, misfit, refuse_if
from shop.people import Person
from shop.permissions import Deed, permission_findings
from shop.stored_files import GONE
from shop.wording import Worded, worded

View = Callable[..., HttpResponse]


@dataclass(slots=True)
class Refusal:
    """Why an act was refused, in words.

    status: 422, 409 (a race), 410 (a file that was disposed of), or 403 (a page nobody of this role may open).
    rest: the findings no form field has shown; all of them until `tell` is called.
    """

    findings: tuple[Worded, ...]
    status: int = 422
    rest: list[Worded] = field(default_factory=list)

    def __post_init__(self) -> None:
        if not self.rest:
            self.rest = list(self.findings)

    def tell(self, form: BaseForm, *, brief: bool = False) -> None:
        """Show each finding at the form's field it names; what names no field of this form stays in `rest`.

        brief: only what is wrong, where the page shows the whole finding anyway.
        The act parsed the same form and has said everything in its own words: the form's own errors give way to them.
        """
        form.is_valid()  # fills cleaned_data, to which add_error belongs
        form.errors.clear()
        places: Mapping[str, str] = getattr(form, "places", {})  # a form may show a finding at another field of its own
        told = [f for f in self.rest if places.get(f.field, f.field) in form.fields]
        for finding in told:
            form.add_error(places.get(finding.field, finding.field), finding.what if brief else finding.sentence)
        self.rest = [f for f in self.rest if f not in told]


def refusal_of(findings: Sequence[Finding], *, status: int = 422) -> Refusal:
    """Findings in words, each sentence once: two terminations on the same withdrawn document say so once."""
    return Refusal(tuple(dict.fromkeys(worded(finding) for finding in findings)), status)


def person_of(request: HttpRequest) -> Person:
    """The person who is signed in. Pages without one are turned away by the middleware before."""
    if isinstance(request.user, AnonymousUser):
        raise PermissionDenied
    return request.user


def require(request: HttpRequest, deed: Deed) -> Person:
    """The person, if their role permits the deed; raises Refused otherwise. For pages that show a form: the act asks again."""
    person = person_of(request)
    refuse_if(permission_findings(person, deed))
    return person


@overload
def acting(view: View) -> View: ...
@overload
def acting(*, again: View | None = None, template: str = "errors/refused.html") -> Callable[[View], View]: ...
def acting(view: View | None = None, *, again: View | None = None, template: str = "errors/refused.html") -> View | Callable[[View], View]:
    """Answer `Refused` and a lost race with a page instead of an error. See the module's docstring."""

    def decorate(inner: View) -> View:
        @functools.wraps(inner)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            try:
                return inner(request, *args, **kwargs)
            except Refused as refused:
                rules = {finding.rule for finding in refused.findings}
                closed = request.method in ("GET", "HEAD") and rules == {"person.role"}
                status = 403 if closed else 410 if rules == {GONE} else 409 if "data.race" in rules else 422
                refusal = refusal_of(refused.findings, status=status)
            except IntegrityError:
                # The act cleaned its rows before it wrote: what the database still refuses, somebody else wrote in between.
                refusal = refusal_of([misfit("data.race")], status=409)
            if again is not None and refusal.status != 403:
                response = again(request, *args, **kwargs, refusal=refusal)
                response.status_code = refusal.status
                return response
            return render(request, template, {"refusal": refusal, "back": _came_from(request)}, status=refusal.status)

        return guarded

    return decorate if view is None else decorate(view)


def _came_from(request: HttpRequest) -> str:
    """The page the person came from, where it is one of ours."""
    url = request.META.get("HTTP_REFERER", "")
    if url and url_has_allowed_host_and_scheme(url, allowed_hosts={request.get_host()}) and urlsplit(url).path != request.path:
        return str(url)
    return ""
