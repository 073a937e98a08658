"""What shops report of the jars on their consignment shelves."""

from datetime import date, timedelta

from django.conf import settings
from django.db import models
from django.db.models import Exists, F, OuterRef, Q
from django.utils.translation import gettext_lazy as _

from apiary_sales.orders.models import Fulfilment, FulfilmentLine
from apiary_sales.orders.trade_models import ConsignmentShelf

from .invoices import Invoice


class ConsignmentReportQuerySet(models.QuerySet["ConsignmentReport"]):
    def standing(self) -> "ConsignmentReportQuerySet":
        """Leave out the reports all of whose goods came back, which were wrong; latest first."""
        some_is_sold = FulfilmentLine.objects.not_taken_back().filter(
            fulfilment=OuterRef("fulfilment"), returned__lt=F("quantity")
        )
        return self.filter(Exists(some_is_sold)).order_by("-sold_until", "-id")

    def next_day(self, shelf: ConsignmentShelf) -> date | None:
        """Return the day after the last report of a shelf; None before the first."""
        last = self.standing().filter(shelf=shelf).first()
        return last.sold_until + timedelta(days=1) if last else None


class ConsignmentReport(models.Model):
    """A shop's report of what it sold of ours over some days: handed over by it, and invoiced."""

    shelf = models.ForeignKey(
        ConsignmentShelf, on_delete=models.PROTECT, related_name="reports", verbose_name=_("shelf")
    )
    sold_from = models.DateField(_("sold from"))
    sold_until = models.DateField(_("sold until"))
    reference = models.CharField(_("their reference"), max_length=60, blank=True)
    fulfilment = models.OneToOneField(
        Fulfilment, on_delete=models.PROTECT, related_name="consignment_report"
    )
    invoice = models.OneToOneField(
        Invoice, on_delete=models.PROTECT, related_name="consignment_report"
    )
    entered_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+"
    )
    idempotency_key = models.CharField(max_length=100, unique=True)

    objects = ConsignmentReportQuerySet.as_manager()

    class Meta:
        verbose_name = _("sales report of a shop")
        verbose_name_plural = _("sales reports of shops")
        ordering = ["-sold_until", "-id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sold_until__gte=F("sold_from")),
                name="consignment_report_ends_after_it_starts",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shelf} {self.sold_until}"
