"""What is stored about the house itself."""

import secrets
from decimal import Decimal
from typing import Any

from django.core.validators import MaxValueValidator, MinValueValidator, RegexValidator
from django.db import connection, models, transaction
from django.utils.translation import gettext_lazy as _

from inventory.shared import conventions
from inventory.shared.bank_accounts import check_bank_account, check_bank_code
from inventory.shared.countries import check_country
from inventory.shared.models.files import private_storage
from inventory.shared.prepared import PreparedQuery


def logo_name(house: "House", filename: str) -> str:
    """Return the name on disk: random, so that nothing of what was typed gets there."""
    return f"logo-{secrets.token_hex(16)}"


class House(models.Model):
    """The business itself, as printed on quotes, invoices and receipts: one row."""

    class Paper(models.TextChoices):
        LETTER = "letter", _("Letter")
        A4 = "A4", _("A4")

    class ReceiptPaper(models.TextChoices):
        PAGE = "page", _("a page, as the other papers")
        ROLL_80 = "80", _("a roll of 80 mm")
        ROLL_58 = "58", _("a roll of 58 mm")

    class Rounding(models.TextChoices):
        BY_LINE = "line", _("tax rounded line by line")
        BY_INVOICE = "invoice", _("tax rounded once per invoice")

    class Market(models.TextChoices):
        US = "us", _("United States")
        EU = "eu", _("European Union")
        OTHER = "other", _("elsewhere, in metric units")

    class WeightUnit(models.TextChoices):
        POUND = conventions.POUND, _("pounds")
        KILOGRAM = conventions.KILOGRAM, _("kilograms")

    class Language(models.TextChoices):
        ENGLISH = "en", _("English")
        SPANISH = "es", _("Spanish")

    class DecimalSign(models.TextChoices):
        POINT = ".", _("a point: 1,234.50")
        COMMA = ",", _("a comma: 1.234,50")

    class FirstWeekday(models.IntegerChoices):
        SUNDAY = conventions.SUNDAY, _("Sunday")
        MONDAY = conventions.MONDAY, _("Monday")

    class OriginRule(models.TextChoices):
        NONE = "none", _("no rule: the countries by name")
        PERCENTAGES = "percentages", _("every country of a blend with its percentage")

    name = models.CharField(_("name"), max_length=120)
    street = models.CharField(_("street"), max_length=160, blank=True)
    city = models.CharField(_("town"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=80, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=60, blank=True)
    country_code = models.CharField(
        _("country code"), max_length=2, blank=True, validators=[check_country]
    )
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    tax_number = models.CharField(_("tax number"), max_length=40, blank=True)
    # An IBAN, or a number as the bank writes it; the code is a BIC.
    bank_account = models.CharField(
        _("bank account"), max_length=40, blank=True, validators=[check_bank_account]
    )
    bank_code = models.CharField(
        _("code of the bank"), max_length=11, blank=True, validators=[check_bank_code]
    )
    payment_note = models.TextField(_("how to pay"), blank=True)
    paper = models.CharField(_("paper"), max_length=8, choices=Paper, default=Paper.LETTER)
    receipt_paper = models.CharField(
        _("paper of receipts"), max_length=8, choices=ReceiptPaper, default=ReceiptPaper.PAGE
    )
    # Otherwise what buyers give on top is income of the house.
    tips_are_for_people = models.BooleanField(
        _("what buyers give on top belongs to the people at the stand"), default=True
    )
    logo = models.FileField(
        _("logo"), storage=private_storage, upload_to=logo_name, max_length=100, blank=True
    )
    tax_rounding = models.CharField(
        _("rounding of tax"), max_length=8, choices=Rounding, default=Rounding.BY_LINE
    )
    prices_include_tax = models.BooleanField(_("prices include the tax"), default=False)
    deposits_taxed = models.BooleanField(_("deposits on drums are taxed"), default=True)
    discount_lowers_tax = models.BooleanField(
        _("a discount for early payment lowers the tax"), default=True
    )
    interest_percent_a_year = models.DecimalField(
        _("interest on late payment, percent a year"), max_digits=6, decimal_places=3, default=0
    )
    quote_days = models.PositiveSmallIntegerField(_("a quote is valid for, days"), default=14)
    drum_deposit_cents = models.PositiveIntegerField(_("deposit on a drum"), default=0)
    drum_price_cents = models.PositiveIntegerField(_("price of an empty drum"), default=0)
    # Two scales in good order agree on a full drum within a pound or two (common practice).
    drum_tolerance_percent = models.DecimalField(
        _("difference of a drum's weight that is not asked about, percent"),
        max_digits=4,
        decimal_places=2,
        default=Decimal(1),
        validators=[MinValueValidator(0), MaxValueValidator(20)],
    )
    market = models.CharField(
        _("where the honey is sold"), max_length=5, choices=Market, default=Market.US
    )
    origin_country = models.CharField(
        _("country of your own honey"), max_length=2, blank=True, validators=[check_country]
    )
    origin_region = models.CharField(_("region of your own honey"), max_length=80, blank=True)
    origin_rule = models.CharField(
        _("origin on labels"), max_length=12, choices=OriginRule, default=OriginRule.NONE
    )

    # ISO 4217.
    currency = models.CharField(
        _("currency"),
        max_length=3,
        default=conventions.usual_currency,
        validators=[RegexValidator("^[A-Z]{3}$", _("Enter the three letters of a currency: USD."))],
    )
    weight_unit = models.CharField(
        _("unit of weight"), max_length=2, choices=WeightUnit, default=WeightUnit.POUND
    )
    language = models.CharField(
        _("language"), max_length=2, choices=Language, default=conventions.usual_language
    )
    decimal_sign = models.CharField(
        _("decimal sign"),
        max_length=1,
        choices=DecimalSign,
        default=conventions.usual_decimal_sign,
    )
    first_weekday = models.PositiveSmallIntegerField(
        _("first day of the week"), choices=FirstWeekday, default=FirstWeekday.SUNDAY
    )
    # What is paid in cash is rounded to it; 1 where every cent is paid.
    smallest_coin_cents = models.PositiveSmallIntegerField(
        _("smallest coin, cents"),
        default=1,
        validators=[MinValueValidator(1), MaxValueValidator(100)],
    )

    class Meta:
        # The table is older than the place of this model in the code.
        db_table = "accounts_house"
        verbose_name = _("business details")
        verbose_name_plural = _("business details")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="house_is_one"),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args: Any, **kwargs: Any) -> None:
        self.pk = 1
        super().save(*args, **kwargs)
        conventions.forget()
        # Others may read the old ones until this is committed.
        transaction.on_commit(conventions.forget)

    @classmethod
    def current(cls) -> "House":
        """Return the one row, or its defaults while it has not been saved."""
        return _ONE.first() or cls(pk=1, name=str(_("Our honey house")))

    @classmethod
    def lock(cls) -> None:
        """Let others who lock the house wait until this transaction ends; call within one."""
        # Where rows can't be locked, as in SQLite, there is one transaction that writes.
        if connection.features.has_select_for_update:
            cls.objects.select_for_update(no_key=True).filter(pk=1).first()


_ONE = PreparedQuery(lambda: House.objects.filter(pk=1))
