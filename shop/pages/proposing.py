"""The pull force proposed from a standard's table, on the form of a crimp specification."""

from __future__ import annotations

from django.contrib import messages
from django.core.exceptions import ValidationError
from django.http import HttpRequest
from django.utils.translation import gettext as _

from shop.catalogue import Kind
from shop.conductor import NotASize
from shop.forms.specifications import PullForcePicker, SpecificationForm
from shop.pull_force import NoRow, source_of
from shop.templatetags.shop import figure


def picker_for(kind: Kind, request: HttpRequest) -> PullForcePicker | None:
    """The picker of a kind that has one, with what was chosen in it."""
    return PullForcePicker(initial=request.POST.dict()) if kind.form is SpecificationForm else None


def proposed(request: HttpRequest) -> dict[str, str]:
    """What was typed so far, with the pull force and its source filled in. Nothing is saved; the person is told where it comes from."""
    typed = {name: str(value) for name, value in request.POST.items()}
    try:
        row = PullForcePicker(request.POST).proposal()
    except (NoRow, NotASize) as error:
        messages.warning(request, str(error))
        return typed
    except ValidationError as error:
        messages.warning(request, " ".join(error.messages))
        return typed
    told = _("Proposed: {force} N from {source}. Status of the figure: {status}.").format(
        force=figure(row.force_n), source=source_of(row).rpartition(":")[0], status=row.status
    )
    if not row.is_confirmed:
        told += " " + _("Look it up in the issued standard before you save, and tick that you did.")
    messages.info(request, told)
    return typed | {"pull_force_min_n": figure(row.force_n), "pull_force_source": source_of(row), "pull_force_checked": ""}
