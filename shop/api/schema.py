"""How the API describes itself: each operation with the errors it can answer, all of one shape."""

from __future__ import annotations

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny
from rest_framework.renderers import JSONRenderer

from shop.api.fields import ProblemSerializer
from shop.api.problems import MEDIA_TYPE

_ERRORS = {
    "400": "The request or its JSON cannot be read.",
    "401": "Nobody is signed in.",
    "403": "The person has no role that may do it, or the CSRF token is missing.",
    "404": "There is no such thing.",
    "406": "The answer cannot be given in a format the request accepts.",
    "409": "Somebody else changed the same thing at the same moment; nothing was written.",
    "410": "The file was disposed of; the answer says under which rule and by which act.",
    "413": "The body is too large.",
    "415": "The body is in a format that is not read here.",
    "422": "Refused, with every finding.",
    "429": "The account waits after wrong secrets; the header Retry-After says how many seconds.",
    "500": "Unforeseen; it is noted in the server's log.",
    "503": "The database does not answer at the moment; the header Retry-After says when to try again.",
}


class ProblemSchema(AutoSchema):
    """Adds the error answers to every operation."""

    def _map_serializer_field(self, field: Any, direction: Any, bypass_extensions: bool = False) -> Any:
        schema: Any = super()._map_serializer_field(field, direction, bypass_extensions)  # type: ignore[no-untyped-call]  # the library's own
        if isinstance(schema, dict) and schema.get("nullable") and "allOf" in schema:
            # In OpenAPI 3.0 `nullable` has no say beside a reference: what may be null has to be said as a choice.
            rest = {key: value for key, value in schema.items() if key not in ("allOf", "nullable")}
            return rest | {"oneOf": [*schema["allOf"], {"enum": [None], "nullable": True}]}
        return schema

    def _codes(self) -> list[str]:
        codes = {"401", "403", "406", "422", "500", "503"}  # 422 also of a reading: a query may be wrong
        if "{" in self.path:
            codes.add("404")
        if self.method != "GET":
            codes |= {"400", "409", "413", "415"}
        if self.path.endswith(("/file/", "/documents/{number}/{issue}/signatures/")):
            codes.add("410")
        if self.method == "POST" and ("signature" in self._asked_names() or self.path.endswith("/v1/token/")):
            codes.add("429")
        return sorted(codes)

    def _asked_names(self) -> set[str]:
        serializer: Any = self.get_request_serializer()
        if isinstance(serializer, type):
            serializer = serializer()
        return set(getattr(serializer, "fields", {}))

    def _get_response_bodies(self, direction: Any = "response") -> Any:
        bodies = super()._get_response_bodies(direction)
        component = self.resolve_serializer(ProblemSerializer(), "response")
        for code in self._codes():
            bodies.setdefault(code, {"description": _ERRORS[code], "content": {MEDIA_TYPE: {"schema": component.ref}}})
        return bodies


class SchemaJSON(JSONRenderer):
    """The schema as JSON, also for whoever accepts anything."""

    media_type = "application/vnd.oai.openapi+json"
    format = "openapi-json"


class SchemaView(SpectacularAPIView):
    """The schema of this API (OpenAPI 3). Nobody has to be signed in to read it."""

    permission_classes = [AllowAny]
    authentication_classes = []
    renderer_classes = [SchemaJSON, JSONRenderer, *SpectacularAPIView.renderer_classes]
