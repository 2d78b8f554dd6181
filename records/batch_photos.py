"""Photographs taken at the press are attachments of their batch."""

from __future__ import annotations

from datetime import datetime

from inspection import photos
from inspection.models import Batch
from records.acts.attachments import attach, attachments_of
from records.attachables import thing_of
from records.content import PhotoContent
from shop.people import Person
from shop.templatetags.shop import moment


def _keep(batch: Batch, title: str, name: str, picture: bytes, by: Person, at: datetime) -> None:
    attach(thing=thing_of(batch), title=title, name=name, data=picture, by=by, at=at)


def register_keeper() -> None:
    photos.register(_keep)


def photos_of(batch: Batch) -> list[PhotoContent]:
    """The pictures attached to the batch that count, in the order in which they came."""
    rows = attachments_of(thing_of(batch)).filter(withdrawal=None, file_type__startswith="image/")
    return [{"title": row.title, "file_name": row.file_name, "sha256": row.sha256, "by": row.by.name, "at": moment(row.at)} for row in rows]
