"""What the pages of suppliers show."""

from django.db.models import Exists, OuterRef, Q, QuerySet

from inventory.stock.models import Balance, Lot, Posting, PostingLine, Supplier


def find(*, words: str = "", kind: str = "", include_unused: bool = False) -> QuerySet[Supplier]:
    """Return suppliers by name; each word typed must be somewhere in what is known of them."""
    found = Supplier.objects.all()
    if not include_unused:
        found = found.filter(is_active=True)
    if kind:
        found = found.filter(kind=kind)
    for word in words.split():
        found = found.filter(
            Q(name__icontains=word) | Q(contact__icontains=word) | Q(city__icontains=word)
        )
    return found.order_by("name")


def bought_from(supplier: Supplier) -> QuerySet[Lot]:
    """Return the honey bought from a supplier, the newest first, with `is_undone` and `is_here`."""
    undone = PostingLine.objects.filter(
        lot=OuterRef("pk"),
        posting__kind=Posting.Kind.PURCHASE,
        posting__reversed_by__isnull=False,
    )
    here = Balance.objects.filter(lot=OuterRef("pk"), is_physical=True, quantity__gt=0)
    return (
        Lot.objects.filter(supplier=supplier, kind=Lot.Kind.BOUGHT)
        .annotate(is_undone=Exists(undone), is_here=Exists(here))
        .order_by("-made_on", "-id")
    )
