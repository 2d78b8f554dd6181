"""What a request's body is read from: JSON whose numbers stay exact, and CSV as it is."""

from __future__ import annotations

import json
from collections.abc import Mapping
from decimal import Decimal, InvalidOperation
from typing import IO, Any, NoReturn

from django.conf import settings
from django.core.exceptions import RequestDataTooBig
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer


def _limited(stream: IO[bytes], limit: int) -> bytes:
    """The body, read no further than the limit: the framework's parsers read a stream past Django's own limit."""
    data = stream.read(limit + 1)
    if len(data) > limit:
        raise RequestDataTooBig
    return data


def _no_constant(name: str) -> NoReturn:
    raise ValueError(f"{name} is not a finite number")


LONGEST_WHOLE = 30


def _whole(digits: str) -> int:
    if len(digits) > LONGEST_WHOLE:
        raise ValueError("a number has too many digits")
    return int(digits)


def _no_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A name that stands twice is refused: of two values one would be lost."""
    read: dict[str, Any] = {}
    for name, value in pairs:
        if name in read:
            raise ValueError("a name stands in it twice")
        read[name] = value
    return read


def read_exactly(text: str) -> Any:
    """JSON with every fraction as the Decimal that was written: 1.80 keeps its zero, and no binary fraction comes between.

    Raises ValueError, with a reason that repeats nothing of the body: a secret may stand in it.
    """
    try:
        return json.loads(text, parse_float=Decimal, parse_int=_whole, parse_constant=_no_constant, object_pairs_hook=_no_doubles)
    except json.JSONDecodeError as error:
        raise ValueError(f"{error.msg.lower()}, line {error.lineno}, column {error.colno}") from None
    except RecursionError:
        raise ValueError("it is nested too deeply") from None
    except InvalidOperation:
        raise ValueError("a number is too large") from None


class ExactJSONParser(BaseParser):
    """JSON in UTF-8."""

    media_type = "application/json"
    renderer_class = JSONRenderer

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        data = _limited(stream, settings.DATA_UPLOAD_MAX_MEMORY_SIZE)
        try:
            return read_exactly(data.decode("utf-8"))
        except UnicodeDecodeError as error:
            raise ParseError(f"byte {error.start + 1} is not UTF-8") from None
        except ValueError as error:
            raise ParseError(str(error)) from None


class CSVParser(BaseParser):
    """A CSV file as the whole body, handed on as bytes: the import reads it."""

    media_type = "text/csv"

    def parse(self, stream: IO[bytes], media_type: str | None = None, parser_context: Mapping[str, Any] | None = None) -> Any:
        # A byte over the limit reaches the import, which says what is the limit of a file.
        return stream.read(settings.UPLOAD_LIMIT_BYTES + 1)
