"""What stops a document from being drawn or sealed is told like any other refusal."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any

from django.http import HttpResponse

from records.pdf import PangoMissing
from records.shop_key import KeyMissing, KeyUnreadable
from shop.finding import Refused, misfit


def sealing(view: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Turn a missing key, missing Pango or a missing stored file into Refused; stands below `acting`."""

    @functools.wraps(view)
    def told(*args: Any, **kwargs: Any) -> HttpResponse:
        try:
            return view(*args, **kwargs)
        except (PangoMissing, KeyMissing, KeyUnreadable) as error:
            raise Refused([misfit("document.key", reason=str(error))]) from error
        except FileNotFoundError as error:
            raise Refused([misfit("document.damaged", number=str(kwargs.get("number", "")))]) from error

    return told
