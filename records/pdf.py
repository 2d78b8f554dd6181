"""From HTML to a PDF/A-3a that carries its own record: tagged, fonts embedded, colour intent, the canonical JSON attached.

WeasyPrint draws the pages; a pikepdf step then mends what an archive reader asks for and WeasyPrint leaves open. Checklist: ISO
19005-3:2012 and ISO 32000-1 14.13 (associated files), from memory. Nothing is fetched from a network, ever.

WeasyPrint is imported when the first document is drawn, not with this module: it loads Pango, which a machine may lack.
"""

from __future__ import annotations

import ctypes
import io
import logging
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import lru_cache
from hashlib import md5
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote, urlsplit
from urllib.request import url2pathname

import pikepdf

if TYPE_CHECKING:
    from weasyprint.urls import URLFetcher

PDF_VERSION = "1.7"
RELATIONSHIP = "/Data"


class PangoMissing(RuntimeError):  # noqa: N818  # reads as what is wrong
    """WeasyPrint cannot load the text libraries it draws with."""

    def __init__(self, library: str) -> None:
        self.library = library
        super().__init__(
            f"PDF documents need Pango, and {library} cannot be loaded. On Debian: apt-get install libpango-1.0-0 "
            "libpangoft2-1.0-0. On macOS: install pango with your package manager."
        )


class AttachmentMissing(ValueError):  # noqa: N818
    """The PDF carries no associated file, or cannot be read at all."""


class FetchRefused(ValueError):  # noqa: N818
    """A document asked for something outside the project's own assets."""


def require_pango() -> None:
    """Check early that PDFs can be drawn here. Raises PangoMissing with one line that says what to install.

    The libraries are tried one by one before WeasyPrint is imported, because WeasyPrint prints a banner of its own when one is missing.
    """
    # The same names that WeasyPrint tries; the last one is what a person sees in the message.
    for names in (
        ("libgobject-2.0.so.0", "libgobject-2.0.0.dylib", "libgobject-2.0-0", "gobject-2.0"),
        ("libpango-1.0.so.0", "libpango-1.0.dylib", "libpango-1.0-0", "pango-1.0"),
        ("libpangoft2-1.0.so.0", "libpangoft2-1.0.dylib", "libpangoft2-1.0-0", "pangoft2-1.0"),
    ):
        for name in names:
            try:
                ctypes.CDLL(name)
            except OSError:
                continue
            break
        else:
            raise PangoMissing(names[0])


@lru_cache(maxsize=16)
def _plain_font(path: Path, _changed_ns: int) -> bytes:
    """A WOFF2 file unpacked, once in a process: WeasyPrint would unpack each font anew for every document, a sixth of its time."""
    from fontTools.ttLib import woff2  # noqa: PLC0415  # comes with WeasyPrint, and is loaded with it

    unpacked = io.BytesIO()
    with path.open("rb") as packed:
        woff2.decompress(packed, unpacked)
    return unpacked.getvalue()


def _fetcher(asset_root: Path | None) -> URLFetcher:
    """A fetcher that serves data: URIs and files under `asset_root`, and refuses everything else."""
    from weasyprint.urls import FatalURLFetchingError, URLFetcher, URLFetcherResponse  # noqa: PLC0415

    root = None if asset_root is None else asset_root.resolve()

    class AssetFetcher(URLFetcher):  # type: ignore[misc]  # WeasyPrint carries no types
        def fetch(self, url: str, headers: Any = None) -> Any:
            scheme = urlsplit(url).scheme.lower()
            if scheme == "data":
                return super().fetch(url, headers)
            if scheme == "file" and root is not None:
                # resolve() follows links and "..", so neither leads out of the root.
                path = Path(url2pathname(unquote(urlsplit(url).path))).resolve()
                if path.is_relative_to(root) and path.is_file():
                    if path.suffix == ".woff2":
                        return URLFetcherResponse(url, _plain_font(path, path.stat().st_mtime_ns))
                    return super().fetch(path.as_uri(), headers)
            # WeasyPrint turns an ordinary error into a log line and a hole in the page. A record with a hole is no record.
            raise FatalURLFetchingError(f"a document may only use its own assets, not {url[:200]}")

    return AssetFetcher()


def render_pdf(
    html: str,
    *,
    title: str,
    language: str = "en",
    attachment: bytes,
    attachment_name: str = "record.json",
    attachment_description: str,
    created_at: datetime,
    asset_root: Path | None,
) -> bytes:
    """Draw `html` as a PDF/A-3a (PDF 1.7) with `attachment` inside. The same arguments give the same bytes.

    html: a whole document; relative addresses are looked up under `asset_root`.
    attachment: bytes of the record's canonical JSON; `attached_json` gives them back unchanged.
    created_at: an aware time; it stands in the metadata and as the attachment's date.
    Raises PangoMissing, FetchRefused (the document points outside its assets), ValueError (naive time).
    """
    if created_at.tzinfo is None:
        raise ValueError("created_at needs its zone")
    require_pango()
    from weasyprint import HTML, Attachment  # noqa: PLC0415
    from weasyprint.urls import FatalURLFetchingError  # noqa: PLC0415

    fetcher = _fetcher(asset_root)
    base_url = None if asset_root is None else f"{asset_root.resolve().as_uri()}/"
    stamp = created_at.astimezone(UTC).replace(microsecond=0)
    try:
        with warnings.catch_warnings():
            # WeasyPrint leaves its own colour profile open until it is collected.
            warnings.simplefilter("ignore", ResourceWarning)
            drawn = HTML(string=html, base_url=base_url, url_fetcher=fetcher).write_pdf(
                pdf_variant="pdf/a-3a",
                attachments=[
                    Attachment(
                        file_obj=io.BytesIO(attachment),
                        name=attachment_name,
                        description=attachment_description,
                        created=stamp,
                        modified=stamp,
                        relationship=RELATIONSHIP.removeprefix("/"),
                        url_fetcher=fetcher,
                    )
                ],
            )
    except FatalURLFetchingError as error:
        raise FetchRefused(str(error)) from error
    return _mended(drawn, title=title, language=language, attachment_name=attachment_name, stamp=stamp)


class _PageNews(logging.Handler):
    def __init__(self, tell: Callable[[int], None]) -> None:
        super().__init__()
        self.tell = tell

    def emit(self, record: logging.LogRecord) -> None:
        # The only way WeasyPrint says how far it is.
        if "Page %" in str(record.msg) and isinstance(record.args, tuple) and isinstance(record.args[-1], int):
            self.tell(record.args[-1])


@contextmanager
def pages_told(tell: Callable[[int], None]) -> Iterator[None]:
    """While this is open, `tell` is called with the number of each page that is laid out. Pages may be laid out more than once."""
    logger = logging.getLogger("weasyprint.progress")
    news, level, propagate = _PageNews(tell), logger.level, logger.propagate
    logger.addHandler(news)
    logger.setLevel(logging.INFO)
    logger.propagate = False
    try:
        yield
    finally:
        logger.removeHandler(news)
        logger.setLevel(level)
        logger.propagate = propagate


def draw_paper(html: str, *, asset_root: Path) -> bytes:
    """Draw `html` as a plain PDF: a working paper such as a label, no record; nothing is attached and nothing is sealed.

    Raises PangoMissing, FetchRefused (the page points outside its assets).
    """
    require_pango()
    from weasyprint import HTML  # noqa: PLC0415
    from weasyprint.urls import FatalURLFetchingError  # noqa: PLC0415

    try:
        return bytes(HTML(string=html, base_url=f"{asset_root.resolve().as_uri()}/", url_fetcher=_fetcher(asset_root)).write_pdf())
    except FatalURLFetchingError as error:
        raise FetchRefused(str(error)) from error


def _mended(drawn: bytes, *, title: str, language: str, attachment_name: str, stamp: datetime) -> bytes:
    """Add what PDF/A-3a asks for and WeasyPrint leaves open, and settle the version and the document ID."""
    with pikepdf.open(io.BytesIO(drawn)) as pdf:
        root = pdf.Root
        spec = _file_specification(pdf, attachment_name)
        _mend_attachment(spec, attachment_name, stamp)
        root.AF = pikepdf.Array([spec])  # WeasyPrint lists one file twice

        root.Lang = pikepdf.String(language)
        root.ViewerPreferences = pikepdf.Dictionary(DisplayDocTitle=True)
        root.MarkInfo = pikepdf.Dictionary(Marked=True)
        with pdf.open_metadata(set_pikepdf_as_editor=False, update_docinfo=False) as xmp:
            xmp["pdfaid:part"] = "3"
            xmp["pdfaid:conformance"] = "A"
            xmp["dc:title"] = title
            xmp["dc:language"] = [language]
            xmp["dc:format"] = "application/pdf"
            # ISO 19005-3 6.6.3: information dictionary and XMP say the same. So both get the same time.
            for key in ("xmp:CreateDate", "xmp:ModifyDate", "xmp:MetadataDate"):
                xmp[key] = stamp.isoformat()
        pdf.docinfo["/Title"] = title
        for key in ("/CreationDate", "/ModDate"):
            pdf.docinfo[key] = stamp.strftime("D:%Y%m%d%H%M%S+00'00'")

        out = io.BytesIO()
        pdf.save(
            out,
            min_version=PDF_VERSION,
            force_version=PDF_VERSION,
            deterministic_id=True,  # derived from the content
            object_stream_mode=pikepdf.ObjectStreamMode.generate,
            fix_metadata_version=False,
        )
    return out.getvalue()


def _file_specification(pdf: pikepdf.Pdf, name: str) -> Any:
    """The file specification of the attachment `name`, found through the name tree that every reader uses."""
    names = pdf.Root.Names.EmbeddedFiles.Names
    for key, spec in zip(names[0::2], names[1::2], strict=True):
        if str(key) == name:
            return spec
    raise AttachmentMissing(name)


def _mend_attachment(spec: Any, name: str, stamp: datetime) -> None:
    spec.Type = pikepdf.Name.Filespec
    spec.F = spec.UF = pikepdf.String(name)
    spec.AFRelationship = pikepdf.Name(RELATIONSHIP)
    stream = spec.EF.F
    spec.EF.UF = stream
    stream.Type = pikepdf.Name.EmbeddedFile
    stream.Subtype = pikepdf.Name("/application/json" if name.endswith(".json") else "/application/octet-stream")
    data = stream.read_bytes()
    date = stamp.strftime("D:%Y%m%d%H%M%S+00'00'")
    stream.Params = pikepdf.Dictionary(
        Size=len(data),
        # ISO 32000-1 table 46 fixes MD5 here. It guards nothing: the seal does.
        CheckSum=pikepdf.String(md5(data, usedforsecurity=False).digest()),
        CreationDate=pikepdf.String(date),
        ModDate=pikepdf.String(date),
    )


def attached_json(pdf: bytes) -> bytes:
    """The bytes of the attached record, found through the document's AF array (ISO 32000-2 14.13).

    Raises AttachmentMissing when the PDF cannot be read, has no AF array, or does not have exactly one data file in it.
    """
    try:
        with pikepdf.open(io.BytesIO(pdf), suppress_warnings=True) as document:
            related = [spec for spec in document.Root.get("/AF", pikepdf.Array()) if spec.get("/AFRelationship") == RELATIONSHIP]
            if len(related) != 1:
                raise AttachmentMissing(f"{len(related)} attached records, expected one")
            return bytes(related[0].EF.F.read_bytes())
    except AttachmentMissing:
        raise
    except Exception as error:
        # A damaged file can break the reader in any place and with any type; for the caller it is all one answer.
        raise AttachmentMissing(f"the attached record cannot be read: {error}") from error
