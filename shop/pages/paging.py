"""Pages of a list that may be long: nothing is counted past a thousand, and a deep page reads keys before it reads rows."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cached_property
from typing import TYPE_CHECKING, Any

from django.core.paginator import EmptyPage, Page, PageNotAnInteger, Paginator
from django.db.models import QuerySet
from django.utils.translation import gettext as _

from shop.long_lists import COUNTED

if TYPE_CHECKING:
    _Paginator = Paginator[Any]
    _Page = Page[Any]
else:
    _Paginator, _Page = Paginator, Page  # not subscriptable at run time


class LongPage(_Page):
    """A page that knows whether another follows, without knowing how many there are."""

    def __init__(self, rows: list[Any], number: int, paginator: LongPaginator, *, more: bool) -> None:
        super().__init__(rows, number, paginator)
        self.more = more

    def has_next(self) -> bool:
        return self.more

    def next_page_number(self) -> int:
        if not self.more:
            raise EmptyPage("there is no further page")
        return self.number + 1

    def previous_page_number(self) -> int:
        if self.number == 1:
            raise EmptyPage("there is no page before")
        return self.number - 1

    def start_index(self) -> int:
        return (self.number - 1) * int(self.paginator.per_page) + 1 if self.object_list else 0

    def end_index(self) -> int:
        return (self.number - 1) * int(self.paginator.per_page) + len(self.object_list)


class LongPaginator(_Paginator):
    """Pages of a queryset in its own order, which has to be total (the primary key last).

    first: the keys of its first `COUNTED` + 1 rows, and read: the rows of some keys, where the caller asks for them in its own way.
    """

    def __init__(
        self,
        rows: QuerySet[Any],
        per_page: int,
        *,
        first: list[Any] | None = None,
        read: Callable[[list[Any]], Iterable[Any]] | None = None,
    ) -> None:
        super().__init__(rows, per_page)
        self.rows, self._read = rows, read or (lambda keys: rows.filter(pk__in=keys))
        if first is not None:
            self._first = first

    @cached_property
    def _first(self) -> list[Any]:
        """The keys of the first rows: the count of a short list and the first pages of a long one, in one question."""
        return list(self.rows.values_list("pk", flat=True)[: COUNTED + 1])

    @property
    def is_cut(self) -> bool:
        """Whether there are more rows than are counted."""
        return len(self._first) > COUNTED

    @cached_property
    def count(self) -> int:
        return min(len(self._first), COUNTED)

    def get_page(self, number: Any) -> LongPage:
        """The page; the first for a number that is none, the last for one past the end."""
        try:
            wanted = max(1, int(number))
        except (TypeError, ValueError, PageNotAnInteger):
            wanted = 1
        if not self.is_cut:
            return self._page(min(wanted, self.num_pages))
        page = self._page(wanted)
        # Somebody wrote the number by hand: now the count is worth its time.
        return page if page.object_list else self._page(-(-self.rows.count() // self.per_page))

    def _page(self, number: int) -> LongPage:
        begin = (number - 1) * self.per_page
        end = begin + self.per_page
        if end < len(self._first) or not self.is_cut:
            keys = self._first[begin : end + 1]
        else:
            # The keys alone come out of an index; rows that are skipped are never read.
            keys = list(self.rows.values_list("pk", flat=True)[begin : end + 1])
        found = {row.pk: row for row in self._read(keys[: self.per_page])}
        return LongPage([found[key] for key in keys[: self.per_page] if key in found], number, self, more=len(keys) > self.per_page)

    def counted(self, one: str, many: str) -> str:
        """How many there are, in words: one and many with a place for count, as ngettext gives them."""
        if self.is_cut:
            return _("more than {counted}").format(counted=many % {"count": f"{COUNTED:,}"})
        return (one if self.count == 1 else many) % {"count": self.count}
