"""What a file is by its bytes, whatever its name says: PDF, PNG, JPEG, WebP, XLSX, plain text or CSV. All else is nothing we keep.

Signatures: ISO 32000-1 7.5.2 (PDF header), ISO/IEC 15948 5.2 (PNG), ISO/IEC 10918-1 annex B (JPEG start of image and next marker),
RFC 9649 2.4 (WebP header). A workbook is a ZIP with a list of content types and a workbook in it (ECMA-376 part 2, 10; part 1, 12);
one that carries macros is none of ours.
"""

from __future__ import annotations

import io
import zipfile
from pathlib import PurePath

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"

ENDINGS = {
    "application/pdf": (".pdf",),
    "image/png": (".png",),
    "image/jpeg": (".jpg", ".jpeg"),
    "image/webp": (".webp",),
    XLSX: (".xlsx",),
    "text/csv": (".csv",),
    "text/plain": (".txt",),
}
"""Content type -> the endings its name may have."""

_SIGNATURES = ((b"%PDF-", "application/pdf"), (b"\x89PNG\r\n\x1a\n", "image/png"), (b"\xff\xd8\xff", "image/jpeg"))


def kind_of_file(name: str, data: bytes) -> str | None:
    """The content type of `data`, or None for what is none of ours. The name only tells CSV from other text."""
    for signature, kind in _SIGNATURES:
        if data.startswith(signature):
            return kind
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "image/webp"
    if data.startswith(b"PK\x03\x04"):
        return XLSX if _is_workbook(data) else None
    if not _is_text(data):
        return None
    return "text/csv" if PurePath(name.lower()).suffix == ".csv" else "text/plain"


def _is_workbook(data: bytes) -> bool:
    """Read from the list of contents alone: nothing is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = set(archive.namelist())
    except (zipfile.BadZipFile, ValueError, NotImplementedError):
        return False
    return {"[Content_Types].xml", "xl/workbook.xml"} <= names and not any(name.endswith("vbaProject.bin") for name in names)


def is_named_as(name: str, kind: str) -> bool:
    """Whether the name ends as files of this kind do: a text named .html would open as a page."""
    return PurePath(name.lower()).suffix in ENDINGS[kind]


def _is_text(data: bytes) -> bool:
    """UTF-8 without control characters other than those that end lines and columns."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return False
    return bool(text) and all(character.isprintable() or character in "\t\r\n\f" for character in text)
