"""What a file is by its first bytes, whatever its name says: PDF, PNG, JPEG, and plain text or CSV. Everything else is nothing we keep.

Signatures: ISO 32000-1 7.5.2 (PDF header), ISO/IEC 15948 5.2 (PNG), ISO/IEC 10918-1 annex B (JPEG start of image and next marker).
"""

from __future__ import annotations

from pathlib import PurePath

ENDINGS = {
    "application/pdf": (".pdf",),
    "image/png": (".png",),
    "image/jpeg": (".jpg", ".jpeg"),
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
    if not _is_text(data):
        return None
    return "text/csv" if PurePath(name.lower()).suffix == ".csv" else "text/plain"


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
