"""What every page of the back office is built on: rows to look at.

Whoever changes a row does so on its own page, whose service keeps the rules; a change here would
leave out what has to go along with it. No list counts or reads all that is in its table: it is as
fast in a house of many years as in a young one.
"""

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING, Any, ClassVar, cast

from django.contrib import admin
from django.contrib.admin.views.main import ChangeList
from django.core.paginator import Paginator
from django.db.models import DateField, DateTimeField, Model, QuerySet
from django.http import HttpRequest
from django.utils import timezone
from django.utils.formats import date_format
from django.utils.functional import cached_property

from inventory.shared import days
from inventory.shared.paging import ROWS_A_PAGE

# So many rows of a list are counted and paged through; the filters lead to the others.
ROWS_COUNTED = 2_000

# Django's classes take the type of their rows for the type checker only.
if TYPE_CHECKING:
    ModelAdmin = admin.ModelAdmin[Model]
    TabularInline = admin.TabularInline[Model, Model]
else:
    ModelAdmin = admin.ModelAdmin
    TabularInline = admin.TabularInline


class FirstRowsPaginator(Paginator[Any]):
    """The pages of a list's first rows, no more than `ROWS_COUNTED`."""

    @cached_property
    def _found(self) -> int:
        rows = cast(QuerySet[Any], self.object_list)
        return rows.order_by()[: ROWS_COUNTED + 1].count()

    @cached_property
    def count(self) -> int:
        return min(self._found, ROWS_COUNTED)

    @property
    def is_cut(self) -> bool:
        """Whether there are more rows than are paged through."""
        return self._found > ROWS_COUNTED


class LookedAtList(ChangeList):
    """A list whose rows are counted once, for the line below it."""

    def get_results(self, request: HttpRequest) -> None:
        super().get_results(request)
        self.full_result_count = self.result_count


class DaysListFilter(admin.DateFieldListFilter):
    """Narrows a list to lately, to one of its years, or to a month of the chosen year."""

    links: tuple[tuple[Any, dict[str, Any]], ...]

    def __init__(
        self,
        field: DateField[Any, Any],
        request: HttpRequest,
        params: dict[str, Any],
        model: type[Model],
        model_admin: Any,
        field_path: str,
    ) -> None:
        super().__init__(field, request, params, model, model_admin, field_path)
        self._is_moment = isinstance(field, DateTimeField)
        rows = model._default_manager.filter(**{f"{field_path}__isnull": False})
        first = rows.order_by(field_path).values_list(field_path, flat=True).first()
        if first is not None:
            first_day = timezone.localdate(first) if self._is_moment else first
            self.links += tuple(self._years_since(first_day.year))

    def _years_since(self, first: int) -> Iterator[tuple[str, dict[str, Any]]]:
        chosen = str(self.date_params.get(self.lookup_kwarg_since, ""))[:4]
        for year in range(timezone.localdate().year, first - 1, -1):
            yield str(year), self._between(date(year, 1, 1), date(year + 1, 1, 1))
            if str(year) == chosen:
                for month in range(1, 13):
                    start = date(year, month, 1)
                    after = date(year + month // 12, month % 12 + 1, 1)
                    yield date_format(start, "YEAR_MONTH_FORMAT"), self._between(start, after)

    def _between(self, first: date, after: date) -> dict[str, Any]:
        bounds = (days.start_of(each) if self._is_moment else each for each in (first, after))
        return dict(zip((self.lookup_kwarg_since, self.lookup_kwarg_until), bounds, strict=True))


class ReadOnlyAdmin(ModelAdmin):
    """Rows that are looked at and never changed here."""

    paginator: ClassVar[type[Paginator[Any]]] = FirstRowsPaginator
    list_per_page = ROWS_A_PAGE
    show_full_result_count = False
    show_facets = admin.ShowFacets.NEVER

    def get_changelist(self, request: HttpRequest, **kwargs: Any) -> type[ChangeList]:
        return LookedAtList

    def has_add_permission(self, request: HttpRequest) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False


class ReadOnlyInline(TabularInline):
    extra = 0
    can_delete = False

    def has_add_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_change_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False

    def has_delete_permission(self, request: HttpRequest, obj: Any = None) -> bool:
        return False
