"""One shape for every error of the API: problem details (RFC 9457), made from the same findings that a page words.

`problem_response` is the REST framework's exception handler. Whatever stops a request becomes findings first, then one answer.
"""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal, InvalidOperation
from typing import Any, NotRequired, TypedDict

from django.conf import settings
from django.core.exceptions import PermissionDenied, RequestDataTooBig, SuspiciousOperation
from django.core.exceptions import ValidationError as DjangoValidationError
from django.core.signals import got_request_exception
from django.db import DataError, IntegrityError, OperationalError
from django.http import Http404, HttpResponse
from django.http.request import UnreadablePostError
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions

from shop.acts.catalogue_import import ImportRefused, RowError
from shop.api.rules import RULES
from shop.finding import Finding, Refused, misfit
from shop.stored_files import GONE
from shop.templatetags.shop import figure
from shop.validation import findings_from
from shop.wording import register, worded

log = logging.getLogger(__name__)
register(RULES)

MEDIA_TYPE = "application/problem+json"
HELP = "/help/rules/#"
BUSY_SECONDS = 2


class FindingOut(TypedDict):
    """A finding in words, with what it compared as text."""

    rule: str
    verdict: str
    field: str
    title: str
    what: str
    expected: str
    next_step: str
    compared: dict[str, str]


class RowOut(TypedDict):
    """What is wrong with one row of an imported file."""

    line: int
    column: str
    rule: str
    reason: str


class Problem(TypedDict):
    """The members of every error. rows: of a refused import only."""

    type: str
    title: str
    status: int
    detail: str
    instance: str
    findings: list[FindingOut]
    rows: NotRequired[list[RowOut]]


def finding_out(finding: Finding) -> FindingOut:
    words = worded(finding)
    return {
        "rule": words.rule,
        "verdict": words.verdict,
        "field": words.field,
        "title": words.title,
        "what": words.what,
        "expected": words.expected,
        "next_step": words.next_step,
        "compared": {key: figure(value) if isinstance(value, Decimal) else str(value) for key, value in finding.compared.items()},
    }


def problem_response(exc: Exception, context: Mapping[str, Any]) -> HttpResponse | None:
    """The answer to an exception. None where a developer is to see it: an unforeseen one while DEBUG is on."""
    request = context.get("request")
    stopped = _stopped(exc, context)
    if stopped is None:
        if settings.DEBUG:
            return None
        log.error("Unforeseen error in the API", exc_info=exc)
        got_request_exception.send(sender=problem_response, request=request)
        stopped = 500, [misfit("api.unexpected")]
    status, findings = stopped
    rows = exc.report.errors if isinstance(exc, ImportRefused) else ()
    response = problem(findings, status, path=request.path if request is not None else "", rows=rows)
    if isinstance(exc, exceptions.APIException) and getattr(exc, "auth_header", None):
        response["WWW-Authenticate"] = exc.auth_header  # type: ignore[attr-defined]  # set by the view for 401
    if isinstance(exc, exceptions.MethodNotAllowed):
        response["Allow"] = _allowed(context)
    return response


def problem(findings: Sequence[Finding], status: int, *, path: str, rows: Sequence[RowError] = ()) -> HttpResponse:
    """Findings as an answer. The first one gives type, title and detail; all stand in `findings`."""
    told = [finding_out(finding) for finding in findings]
    first = worded(findings[0])
    body: Problem = {
        "type": f"{HELP}{first.rule}",
        "title": first.title,
        "status": status,
        "detail": first.sentence,
        "instance": escape_uri_path(path),
        "findings": told,
    }
    if rows:
        body["rows"] = [{"line": row.line, "column": row.column, "rule": row.rule, "reason": row.reason} for row in rows]
    # Half a surrogate pair that was sent and is told again cannot be UTF-8: it stays the JSON escape as which it came.
    text = json.dumps(body, ensure_ascii=False).encode("utf-8", "backslashreplace")
    response = HttpResponse(text, content_type=MEDIA_TYPE, status=status)
    waits = [finding.compared["seconds"] for finding in findings if finding.rule in ("sign.locked", "api.busy")]
    if waits:
        response["Retry-After"] = str(waits[0])
    return response


def _status_of(findings: Sequence[Finding]) -> int:
    rules = {finding.rule for finding in findings}
    if rules == {"person.role"}:
        return 403
    if "sign.locked" in rules:
        return 429
    if rules == {GONE}:
        return 410
    return 409 if "data.race" in rules else 422


def _stopped(exc: Exception, context: Mapping[str, Any]) -> tuple[int, list[Finding]] | None:
    """Status and findings of an exception, or None for one that nobody foresaw."""
    match exc:
        case Refused():
            findings = list(exc.findings)
            return _status_of(findings), findings
        case DjangoValidationError():
            return 422, findings_from(exc)
        case IntegrityError():
            # The act cleaned its rows before it wrote: what the database still refuses, somebody else wrote in between.
            return 409, [misfit("data.race")]
        case DataError() | InvalidOperation():
            # A figure beyond what its column or a Decimal's 28 digits hold, which no rule has caught before.
            log.warning("A figure was too large to be kept", exc_info=exc)
            return 422, [misfit("data.invalid", message="A figure is too large to be kept.")]
        case OperationalError():
            log.error("The database does not answer", exc_info=exc)
            return 503, [misfit("api.busy", seconds=BUSY_SECONDS)]
        case Http404():
            return 404, [misfit("api.not_found")]
        case PermissionDenied():
            return 403, [misfit("api.forbidden", reason="the server does not allow it.")]
        case RequestDataTooBig():
            return 413, [misfit("api.too_large", limit=settings.DATA_UPLOAD_MAX_MEMORY_SIZE // (1024 * 1024))]
        case SuspiciousOperation() | UnreadablePostError():
            return 400, [misfit("api.request", reason="it is incomplete or malformed.")]
        case exceptions.APIException():
            return _from_framework(exc, context)
    return None


def _from_framework(exc: exceptions.APIException, context: Mapping[str, Any]) -> tuple[int, list[Finding]]:
    view = context.get("view")
    match exc:
        case exceptions.ValidationError():
            return 422, list(_field_findings(exc.detail)) or [misfit("data.invalid", message="Not valid.")]
        case exceptions.ParseError():
            return exc.status_code, [misfit("api.body", reason=str(exc.detail).rstrip("."))]
        case exceptions.NotAuthenticated() | exceptions.AuthenticationFailed():
            return exc.status_code, [misfit("api.signed_in")]
        case exceptions.PermissionDenied():
            return exc.status_code, [misfit("api.forbidden", reason=f"{exc.detail}")]
        case exceptions.NotFound():
            return exc.status_code, [misfit("api.not_found")]
        case exceptions.MethodNotAllowed():
            request = context.get("request")
            return exc.status_code, [misfit("api.method", method=request.method if request else "", allowed=_allowed(context))]
        case exceptions.NotAcceptable():
            offered = ", ".join(r.media_type for r in view.get_renderers()) if view else ""
            return exc.status_code, [misfit("api.accept", offered=offered)]
        case exceptions.UnsupportedMediaType():
            request = context.get("request")
            read = ", ".join(p.media_type for p in view.get_parsers()) if view else ""
            given = request.content_type if request else ""
            return exc.status_code, [misfit("api.media_type", media_type=given or "none", read=read)]
    return exc.status_code, [misfit("api.request", reason=str(exc.detail))]


def _allowed(context: Mapping[str, Any]) -> str:
    view = context.get("view")
    return ", ".join(view.allowed_methods) if view else ""


_REQUIRED = {"required", "blank", "null", "empty"}


def _field_findings(detail: Any, path: str = "") -> Iterator[Finding]:
    """The errors of a serializer, however deep, each at its field: "lots.0.quantity"."""
    if isinstance(detail, Mapping):
        for name, inner in detail.items():
            here = path if name == "non_field_errors" else f"{path}.{name}" if path else str(name)
            yield from _field_findings(inner, here)
    elif isinstance(detail, list | tuple):
        for index, inner in enumerate(detail):
            yield from _field_findings(inner, path if isinstance(inner, str) else f"{path}.{index}")
    elif getattr(detail, "code", "") == "unknown_field":
        yield misfit("api.field", path, name=path.rpartition(".")[2], fields=str(detail))
    elif getattr(detail, "code", "") in _REQUIRED:
        yield misfit("data.required", path)
    else:
        yield misfit("data.invalid", path, message=str(detail))
