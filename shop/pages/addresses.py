"""Addresses of pages that are asked for often: a list of evidence names the same reel and the same gauge in every row."""

from __future__ import annotations

from functools import lru_cache

from django.urls import get_script_prefix, reverse


def address(name: str, *args: str | int) -> str:
    """`reverse`, remembered. Raises NoReverseMatch."""
    return _remembered(get_script_prefix(), name, args)


@lru_cache(maxsize=8192)
def _remembered(prefix: str, name: str, args: tuple[str | int, ...]) -> str:
    # The prefix is the request's, so it is part of the key.
    return reverse(name, args=args)
