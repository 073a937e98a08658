"""The chart of accounts and the closing of the books in the API."""

from django.http import Http404
from drf_spectacular.utils import extend_schema
from rest_framework import serializers, status
from rest_framework.response import Response

from apiary_sales.api.bases import ApiView
from apiary_sales.api.serializers import StrictCharField
from apiary_sales.api.views import IDEMPOTENCY_KEY, REFUSALS, ApiActView, ViewPermission
from apiary_sales.billing.models import LedgerAccount
from apiary_sales.billing.queries import journal
from apiary_sales.billing.services import closing, ledger_accounts
from inventory.shared.models import BooksLock
from inventory.shared.people import person_of
from inventory.shared.services import books_lock


class AccountSerializer(serializers.Serializer):
    """An account of the journal."""

    key = serializers.CharField()
    number = serializers.CharField()
    name = serializers.CharField()
    kind = serializers.ChoiceField(choices=LedgerAccount.Kind.values)


class AccountChangeSerializer(serializers.Serializer):
    """The number and name that an account is to have."""

    number = StrictCharField(max_length=12)
    name = StrictCharField(max_length=80)


class AccountsApiView(ApiView):
    permission_classes = [ViewPermission]
    permission_required = "billing.view_money"

    @extend_schema(operation_id="accounts_list", responses=AccountSerializer(many=True))
    def get(self, request):
        """Return every account of the journal, in the order of the numbers.

        The chart is short and always the same accounts, so that there are no pages.
        """
        return Response(AccountSerializer(journal.chart().values(), many=True).data)


class AccountApiView(ApiActView):
    permission_required = "billing.manage_accounts"
    serializer_class = AccountChangeSerializer

    @extend_schema(
        parameters=[IDEMPOTENCY_KEY],
        request=AccountChangeSerializer,
        responses={200: AccountSerializer, **REFUSALS},
    )
    def post(self, request, key: str):
        """Give an account another number and name; the same again changes nothing."""
        self.key()
        account = journal.chart().get(key)
        if account is None:
            raise Http404
        made = ledger_accounts.change(account=account, **self.checked())
        return Response(AccountSerializer(made).data)


class CloseBooksSerializer(serializers.Serializer):
    """The last day that is to be closed."""

    until = serializers.DateField()
    note = StrictCharField(max_length=300, required=False, allow_blank=True)


class OpenBooksSerializer(serializers.Serializer):
    """The last day that stays closed; without it all days are open again."""

    until = serializers.DateField(required=False, allow_null=True, default=None)
    reason = StrictCharField(max_length=300)


class BooksLockSerializer(serializers.Serializer):
    """Up to which day the books are closed, since when, by whom and why."""

    locked_until = serializers.DateField(allow_null=True)
    locked_at = serializers.DateTimeField()
    locked_by = serializers.CharField(source="locked_by.display_name")
    note = serializers.CharField()


def _answer(lock: BooksLock) -> Response:
    return Response(BooksLockSerializer(lock).data, status=status.HTTP_201_CREATED)


class CloseBooksApiView(ApiActView):
    permission_required = "inventory.lock_books"
    serializer_class = CloseBooksSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: BooksLockSerializer, **REFUSALS})
    def post(self, request):
        """Close the books up to a day; what stock was worth on its days is kept."""
        key = self.key()
        return _answer(closing.close(**self.checked(), locked_by=person_of(request), key=key))


class OpenBooksApiView(ApiActView):
    permission_required = "inventory.lock_books"
    serializer_class = OpenBooksSerializer

    @extend_schema(parameters=[IDEMPOTENCY_KEY], responses={201: BooksLockSerializer, **REFUSALS})
    def post(self, request):
        """Open days again that were closed."""
        key = self.key()
        return _answer(
            books_lock.open_again(**self.checked(), locked_by=person_of(request), key=key)
        )
