"""The clock, read once per act by the door (page, API, command), and the day it is in the shop."""

from __future__ import annotations

from datetime import date, datetime, time

from django.utils import timezone


def now() -> datetime:
    """The present moment in UTC."""
    return timezone.now()


def shop_day(at: datetime) -> date:
    """The calendar day in the shop's zone: due dates and calibrations run out at the end of that day."""
    return timezone.localtime(at, timezone.get_default_timezone()).date()


def midnight(day: date) -> datetime:
    """The moment a day begins in the shop's zone."""
    return timezone.make_aware(datetime.combine(day, time.min), timezone.get_default_timezone())
