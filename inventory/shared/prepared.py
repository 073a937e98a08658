"""What nearly every act asks of the database, and changes in it, by statements that are made once.

Django works out the statement of a query each time that it is asked, which takes several times as
long as a short answer does. A `PreparedQuery` keeps its statement for the life of the process and
no answer: that is what the database says at the moment. So does a `PreparedUpdate`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Generic, TypeVar

from django.core.exceptions import EmptyResultSet
from django.db import DEFAULT_DB_ALIAS, connection, connections
from django.db.models import Expression, ExpressionWrapper, F, Field, IntegerField, QuerySet
from django.db.models.query import ModelIterable, get_related_populators
from django.db.models.sql import UpdateQuery
from django.db.transaction import TransactionManagementError

Row = TypeVar("Row")
# Of each query among keys, so many statements are kept: one for each number of keys.
NUMBERS_KEPT = 64


class Given(Expression):
    """A gap in a statement, by its name: it is filled with a value as such a field has it."""

    def __init__(self, name: str, output_field: Field[Any, Any]) -> None:
        super().__init__(output_field=output_field)
        self.name = name

    def as_sql(self, _compiler: Any, _connection: Any) -> tuple[str, Any]:
        """Take the place of the value in the statement."""
        return "%s", [self]


def column(name: str) -> Expression:
    """Return a column of keys as the whole numbers that they are: it may be among given ones."""
    return ExpressionWrapper(F(name), output_field=IntegerField())


def keys(name: str, count: int) -> list[Given]:
    """Return so many keys that are given, in the place of a list."""
    return [Given(each, IntegerField()) for each in _numbered(name, count)]


def given_keys(name: str, values: Sequence[int]) -> dict[str, int]:
    """Return these keys by the names that `keys` gave them."""
    return dict(zip(_numbered(name, len(values)), values, strict=True))


def _numbered(name: str, count: int) -> list[str]:
    return [f"{name}_{number}" for number in range(count)]


@dataclass(frozen=True)
class _Statement:
    """The SQL of a query, and how one row of the answer is read."""

    sql: str
    params: Sequence[Any]
    converters: dict[int, tuple[Sequence[Callable[..., Any]], Any]]
    read: Callable[[Sequence[Any]], Any]
    # Whether it locks the rows, which only a transaction can.
    locks: bool


class PreparedQuery(Generic[Row]):
    """A query of rows of a model, with what is selected along, or of tuples of values.

    It asks the database of the house. The query is made when it is first asked. One that locks its
    rows raises `TransactionManagementError` outside a transaction.
    """

    def __init__(self, query: Callable[[], QuerySet[Any, Row]]) -> None:
        self._query = query
        self._statements: dict[str, _Statement] = {}

    def rows(self, **given: Any) -> list[Row]:
        """Return what the database answers now; `given` are the values of the `Given` in it."""
        return list(self._answer(given))

    def first(self, **given: Any) -> Row | None:
        """Return the first row of the answer, or None."""
        return next(self._answer(given), None)

    def finds(self, **given: Any) -> bool:
        """Tell whether there is any row."""
        return self.first(**given) is not None

    def _answer(self, given: dict[str, Any]) -> Iterator[Row]:
        connection = connections[DEFAULT_DB_ALIAS]
        statement = self._statements.get(connection.vendor)
        if statement is None:
            try:
                statement = _statement_of(self._query())
            except EmptyResultSet:
                return  # Nothing fits it, as where it has a list of no keys.
            self._statements[connection.vendor] = statement
        if statement.locks and connection.get_autocommit():
            raise TransactionManagementError("Rows are locked within a transaction only.")
        with connection.cursor() as cursor:
            cursor.execute(statement.sql, _filled(statement.params, given, connection))
            found = cursor.fetchall()
        for row in found:
            values = list(row)
            for position, (converters, expression) in statement.converters.items():
                for convert in converters:
                    values[position] = convert(values[position], expression, connection)
            yield statement.read(values)


class PreparedQueryAmong(Generic[Row]):
    """A `PreparedQuery` of what is among some keys, with a statement for each number of them."""

    def __init__(self, query: Callable[[list[Given]], QuerySet[Any, Row]]) -> None:
        def of_so_many(count: int) -> PreparedQuery[Row]:
            return PreparedQuery(lambda: query(keys("key", count)))

        self._of_so_many = lru_cache(maxsize=NUMBERS_KEPT)(of_so_many)

    def rows(self, among: Sequence[int], **given: Any) -> list[Row]:
        """Return what the database answers now; among no keys, that is nothing."""
        return self._of_so_many(len(among)).rows(**given_keys("key", among), **given)


class PreparedUpdate:
    """A change of rows with gaps, in one statement that tells nobody; `values` are by their field.

    It changes the database of the house. The query is made when the change is first made.
    """

    def __init__(self, query: Callable[[], QuerySet[Any]], **values: Any) -> None:
        self._query, self._values = query, values
        self._statements: dict[str, tuple[str, Sequence[Any]]] = {}

    def make(self, **given: Any) -> int:
        """Make the change; return how many rows it found."""
        connection = connections[DEFAULT_DB_ALIAS]
        if connection.vendor not in self._statements:
            update: Any = self._query().query.chain(UpdateQuery)
            update.add_update_values(self._values)
            compiler = update.get_compiler(connection=connection)
            try:
                self._statements[connection.vendor] = compiler.as_sql()
            except EmptyResultSet:
                return 0
        sql, params = self._statements[connection.vendor]
        with connection.cursor() as cursor:
            cursor.execute(sql, _filled(params, given, connection))
            return int(cursor.rowcount)


def _filled(params: Sequence[Any], given: dict[str, Any], connection: Any) -> list[Any]:
    """Return what is sent with a statement, with what was given in the place of the gaps."""
    return [
        each.output_field.get_db_prep_save(given[each.name], connection)
        if isinstance(each, Given)
        else each
        for each in params
    ]


def _statement_of(query: QuerySet[Any, Any]) -> _Statement:
    compiler: Any = query.query.get_compiler(connection=connection)
    sql, params = compiler.as_sql()
    selected = [each[0] for each in compiler.select]
    read = _reader(compiler) if query._iterable_class is ModelIterable else tuple
    locks = query.query.select_for_update and connection.features.has_select_for_update
    return _Statement(sql, params, compiler.get_converters(selected), read, locks)


def _reader(compiler: Any) -> Callable[[Sequence[Any]], Any]:
    """Return what makes a row of a model, with what is selected along, of its values."""
    model, positions = compiler.klass_info["model"], compiler.klass_info["select_fields"]
    start, end = positions[0], positions[-1] + 1
    names = [each[0].target.attname for each in compiler.select[start:end]]
    annotated = compiler.annotation_col_map or {}
    # Its types are those of a later Django.
    populators: Any = get_related_populators
    beside = populators(compiler.klass_info, compiler.select, DEFAULT_DB_ALIAS)

    def read(values: Sequence[Any]) -> Any:
        row = model.from_db(DEFAULT_DB_ALIAS, names, values[start:end])
        for each in beside:
            each.populate(values, row)
        for name, position in annotated.items():
            setattr(row, name, values[position])
        return row

    return read
