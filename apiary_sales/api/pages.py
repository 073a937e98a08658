"""How long lists are handed out: by pages that a cursor leads through, in any order.

A cursor remembers the last row that was handed out, by its figures in the order of the list, so
each row comes once, however many are added meanwhile. It is signed: one that was made up, or that
belongs to another list or order, is refused.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from django.core.exceptions import FieldDoesNotExist, ImproperlyConfigured
from django.core.signing import BadSignature, Signer
from django.db.models import F, Q, QuerySet
from django.utils.translation import gettext as _
from rest_framework.exceptions import ErrorDetail, ValidationError
from rest_framework.pagination import CursorPagination
from rest_framework.request import Request
from rest_framework.utils.urls import replace_query_param


@dataclass(frozen=True)
class OrderColumn:
    """One column that a list is ordered by; where it is empty, it comes before every figure."""

    path: str
    is_descending: bool
    is_nullable: bool

    @property
    def name(self) -> str:
        return f"-{self.path}" if self.is_descending else self.path

    def turned(self) -> "OrderColumn":
        return OrderColumn(self.path, not self.is_descending, self.is_nullable)

    def order(self) -> Any:
        """Return the order for the database; both databases then have empty figures alike."""
        if not self.is_nullable:
            return self.name
        if self.is_descending:
            return F(self.path).desc(nulls_last=True)
        return F(self.path).asc(nulls_first=True)

    def is_at(self, figure: Any) -> Q:
        return Q(**{f"{self.path}__isnull": True} if figure is None else {self.path: figure})

    def is_after(self, figure: Any) -> Q | None:
        """Return what comes after a figure, None where no row can."""
        if figure is None:
            return None if self.is_descending else Q(**{f"{self.path}__isnull": False})
        if not self.is_descending:
            return Q(**{f"{self.path}__gt": figure})
        smaller = Q(**{f"{self.path}__lt": figure})
        return smaller | Q(**{f"{self.path}__isnull": True}) if self.is_nullable else smaller

    def of(self, row: Any) -> Any:
        """Return the figure of a row, as JSON can carry it."""
        figure = row
        if isinstance(row, Mapping):
            figure = row[self.path]
        else:
            for part in self.path.split("__"):
                figure = getattr(figure, part, None)
        if isinstance(figure, date):
            return figure.isoformat()
        return str(figure) if isinstance(figure, Decimal) else figure


class Pages(CursorPagination):
    """A page of rows, with the addresses of the next and the previous one."""

    page_size: int
    page_size_query_param = "page_size"
    max_page_size = 1000
    cursor_query_description = "Where the page begins: taken from `next` or `previous`."
    page_size_query_description = f"Rows on a page, 1 to {max_page_size}."

    def get_page_size(self, request: Request) -> int:
        """Return how many rows were asked for; raises `ValidationError`."""
        asked = request.query_params.get(self.page_size_query_param)
        if asked is None:
            return self.page_size
        is_number = asked.isascii() and asked.isdecimal() and len(asked) <= len("1000")
        if not is_number or not 1 <= int(asked) <= self.max_page_size:
            raise ValidationError(
                {
                    self.page_size_query_param: _("Send a whole number from 1 to %(most)d.")
                    % {"most": self.max_page_size}
                }
            )
        return int(asked)

    def paginate_queryset(self, queryset: Any, request: Request, view: Any = None) -> list[Any]:
        self.base_url = request.build_absolute_uri()
        self.signer = Signer(salt=f"page:{request.path}")
        self.columns = self.columns_of(queryset, view)
        size = self.get_page_size(request)
        cursor = request.query_params.get(self.cursor_query_param)
        position, is_backwards = self._read(cursor) if cursor is not None else (None, False)
        columns = [column.turned() for column in self.columns] if is_backwards else self.columns
        rows = queryset.order_by(*(column.order() for column in columns))
        if position is not None:
            rows = rows.filter(_after(columns, position))
        found = list(rows[: size + 1])
        has_more, shown = len(found) > size, found[:size]
        if is_backwards:
            shown.reverse()
        has_next = bool(shown) and (is_backwards or has_more)
        has_previous = bool(shown) and (has_more if is_backwards else position is not None)
        self.next = self._link(shown[-1], is_backwards=False) if has_next else None
        self.previous = self._link(shown[0], is_backwards=True) if has_previous else None
        return shown

    def columns_of(self, queryset: QuerySet, view: Any) -> list[OrderColumn]:
        """Return the columns of the order of a list."""
        return columns_of(queryset)

    def get_next_link(self) -> str | None:
        return self.next

    def get_previous_link(self) -> str | None:
        return self.previous

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Describe a page; the first has no previous one, the last no next."""
        address = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {
                "next": {**address, "description": "The next page; null where there is none."},
                "previous": {
                    **address,
                    "description": "The page before; null where there is none.",
                },
                "results": schema,
            },
        }

    def _link(self, row: Any, *, is_backwards: bool) -> str:
        position = [column.of(row) for column in self.columns]
        cursor = self.signer.sign_object([self._order, position, is_backwards])
        return replace_query_param(self.base_url or "", self.cursor_query_param, cursor)

    def _read(self, cursor: str) -> tuple[list[Any], bool]:
        try:
            order, position, is_backwards = self.signer.unsign_object(cursor)
        except (BadSignature, ValueError):
            order = None
        if order != self._order:
            raise ValidationError(
                {
                    self.cursor_query_param: ErrorDetail(
                        _(
                            "This cursor does not belong to this list in this order. Take it from "
                            "next or previous of a page, or leave it out to begin again."
                        ),
                        code="bad_cursor",
                    )
                }
            )
        return position, is_backwards

    @property
    def _order(self) -> list[str]:
        return [column.name for column in self.columns]


class GroupPages(Pages):
    """Pages of rows that each sum up several and have no key.

    A view says in `group` which columns no two of them have alike.
    """

    def columns_of(self, queryset: QuerySet, view: Any) -> list[OrderColumn]:
        columns = named_columns_of(queryset)
        paths = {column.path for column in columns}
        last = bool(columns) and columns[-1].is_descending
        return columns + [
            OrderColumn(path, last, _is_nullable(queryset, path))
            for path in view.group
            if path not in paths
        ]


def _after(columns: Sequence[OrderColumn], position: Sequence[Any]) -> Q:
    """Return what comes after a position in the order of the columns; the last one has no ties."""
    # Nothing comes after an empty last column of a descending order; no key is in an empty list.
    found = Q(pk__in=[])
    same = Q()
    for column, figure in zip(columns, position, strict=True):
        after = column.is_after(figure)
        if after is not None:
            found |= same & after
        same &= column.is_at(figure)
    return found


def order_of(queryset: QuerySet) -> list[Any]:
    """Return what a list is ordered by, each once, with `id` for the key."""
    order: Iterable[Any] = queryset.query.order_by or queryset.model._meta.ordering or ()
    keys: dict[Any, str] = {"pk": "id", "-pk": "-id"}
    return list(dict.fromkeys(keys.get(name, name) for name in order))


def named_columns_of(queryset: QuerySet) -> list[OrderColumn]:
    """Return the columns that a list names for its order."""
    names = order_of(queryset)
    if not all(isinstance(name, str) for name in names):
        raise ImproperlyConfigured(
            f"The list of {queryset.model.__name__} is ordered by an expression. "
            "Annotate it, and order by its name, so that a cursor can remember it."
        )
    return [
        OrderColumn(name.removeprefix("-"), name.startswith("-"), _is_nullable(queryset, name))
        for name in names
    ]


def columns_of(queryset: QuerySet) -> list[OrderColumn]:
    """Return the columns of a list's order, the key last, so that no two rows are at one place."""
    columns = named_columns_of(queryset)
    if not any(column.path == "id" for column in columns):
        last = bool(columns) and columns[-1].is_descending
        columns.append(OrderColumn("id", last, is_nullable=False))
    return columns


def _is_nullable(queryset: QuerySet, name: str) -> bool:
    """Tell whether a column can be empty; of what was worked out for the list, nobody knows."""
    model: Any = queryset.model
    try:
        for part in name.removeprefix("-").split("__"):
            field = model._meta.get_field(part)
            if field.null:
                return True
            model = field.related_model
    except FieldDoesNotExist:
        return True
    return False
