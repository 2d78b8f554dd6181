"""A catalogue list as a file: the rows of the list's own filters, in the columns of the import."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_GET

from shop.catalogue_export import export_columns, export_rows
from shop.clock import now, shop_day
from shop.pages.acting import acting, require
from shop.pages.catalogue import kind_or_404
from shop.pages.catalogue_list import chosen_rows
from shop.pages.csv_answer import XLSX
from shop.permissions import Deed
from shop.spreadsheet import csv_lines, write_workbook

# Tells spreadsheet programs that the file is UTF-8; the import takes it off again.
BYTE_ORDER_MARK = "\ufeff"


@require_GET
@acting
def export(request: HttpRequest, slug: str, form: str) -> HttpResponse:
    """Everything the list shows with these filters, not only one page of it."""
    require(request, Deed.READ)
    kind = kind_or_404(slug)
    rows, _filters = chosen_rows(kind, request.GET, shop_day(now()))
    header, table = export_columns(kind), export_rows(kind, rows)
    name = {"Content-Disposition": f'attachment; filename="{kind.slug}.{form}"'}
    if form == "csv":
        return HttpResponse([BYTE_ORDER_MARK, *csv_lines(header, table)], content_type="text/csv; charset=utf-8", headers=name)
    if form == "xlsx":
        return HttpResponse(write_workbook(str(kind.title), header, table), content_type=XLSX, headers=name)
    raise Http404
