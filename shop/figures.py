"""Figures as the reader's language writes them. For reading only: what is signed, typed or sent keeps its point."""

from __future__ import annotations

import re
from decimal import Decimal

from django.utils.formats import get_format
from django.utils.safestring import SafeString, mark_safe

from shop import quantity
from shop.quantity import System

_SAID = re.compile(r"(?<=>)[^<>]+(?=</(?:text|tspan|title|desc)>)|(?<=aria-label=\")[^\"]*(?=\")")
_FIGURE = re.compile(r"(?<![\w.,-])(-?[0-9]+)\.([0-9]+)(?![\w.]*\.[0-9])")


def spoken(text: str) -> str:
    """The decimal points of a text as decimal signs of the active language: "1.40 mm" reads "1,40 mm" in German. Other points stay."""
    sign = str(get_format("DECIMAL_SEPARATOR"))
    return text if sign == "." else _FIGURE.sub(rf"\1{sign}\2", text)


def spoken_drawing(svg: str) -> SafeString:
    """Our own SVG for a page, its texts with the decimal sign of the active language; coordinates keep their points.

    svg: every text in it is escaped already, as the drawing modules do.
    """
    sign = str(get_format("DECIMAL_SEPARATOR"))
    read = svg if sign == "." else _SAID.sub(lambda found: spoken(found.group()), svg)
    return mark_safe(read)  # noqa: S308  # our own drawing


def show_length(value_mm: Decimal, system: System) -> str:
    """`quantity.show_length` in the reader's language."""
    return spoken(quantity.show_length(value_mm, system))


def show_area(value_mm2: Decimal, system: System) -> str:
    """`quantity.show_area` in the reader's language."""
    return spoken(quantity.show_area(value_mm2, system))


def show_force(value_n: Decimal, system: System) -> str:
    """`quantity.show_force` in the reader's language."""
    return spoken(quantity.show_force(value_n, system))


def recorded(text: str) -> str:
    """A figure as typed by somebody who reads the active language, as records write it: where the comma is the decimal sign, it is no
    thousands mark. Anything but one comma between figures stays as it is, and is read or refused as typed."""
    if str(get_format("DECIMAL_SEPARATOR")) != ",":
        return text
    return re.sub(r"^(\s*[+\-−]?[0-9]*),([0-9]+)(?![0-9.,])", r"\1.\2", text)
