"""Whether a record's file was disposed of: asked at every reading of one, and told by which act."""

from __future__ import annotations

from records.keeping_models import DisposedFile
from shop.clock import shop_day
from shop.finding import Finding, misfit
from shop.stored_files import GONE, Owner, tells_disposed


def disposal_of(owner: Owner) -> DisposedFile | None:
    """The disposal of a record's file; None while it is kept."""
    kept_as, row_id = owner
    return DisposedFile.objects.filter(kept_as=kept_as, row_id=row_id).select_related("disposal__rule", "disposal__by").first()


def disposed_finding(owner: Owner) -> Finding | None:
    gone = disposal_of(owner)
    if gone is None:
        return None
    act = gone.disposal
    return misfit(GONE, name=gone.name, day=shop_day(act.at).isoformat(), under=str(act.rule), act=act.number)


tells_disposed(disposed_finding)
