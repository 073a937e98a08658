from django.contrib.auth.models import AbstractUser
from django.contrib.auth.models import UserManager as DjangoUserManager
from django.db import models
from django.utils.translation import gettext_lazy as _


class UserManager(DjangoUserManager):
    def create_superuser(self, username, email=None, password=None, **extra_fields):
        extra_fields.setdefault("role", User.Role.OWNER)
        return super().create_superuser(username, email, password, **extra_fields)


class User(AbstractUser):
    """A person of the house. What they may do follows from their role: see `roles.py`."""

    class Role(models.TextChoices):
        OWNER = "owner", _("Owner")
        BOTTLING = "bottling", _("Bottling")
        STAND = "stand", _("Stand")
        OFFICE = "office", _("Office")

    # The stand may do least, so it is what a person has until told otherwise.
    role = models.CharField(_("role"), max_length=10, choices=Role, default=Role.STAND)

    objects = UserManager()

    class Meta(AbstractUser.Meta):
        verbose_name = _("person")
        verbose_name_plural = _("people")
        permissions = [("manage_people", _("Add people and set what they may do"))]

    @property
    def display_name(self) -> str:
        return self.get_full_name() or self.username


class House(models.Model):
    """The business itself, as printed on quotes, invoices and receipts: one row."""

    class Paper(models.TextChoices):
        LETTER = "letter", _("Letter")
        A4 = "A4", _("A4")

    class Rounding(models.TextChoices):
        BY_LINE = "line", _("tax rounded line by line")
        BY_INVOICE = "invoice", _("tax rounded once an invoice")

    name = models.CharField(_("name"), max_length=120)
    street = models.CharField(_("street"), max_length=160, blank=True)
    city = models.CharField(_("town"), max_length=80, blank=True)
    region = models.CharField(_("state or region"), max_length=80, blank=True)
    postal_code = models.CharField(_("postal code"), max_length=20, blank=True)
    country = models.CharField(_("country"), max_length=60, blank=True)
    phone = models.CharField(_("telephone"), max_length=40, blank=True)
    email = models.EmailField(_("e-mail"), blank=True)
    tax_number = models.CharField(_("tax number"), max_length=40, blank=True)
    payment_note = models.TextField(_("how to pay"), blank=True)
    paper = models.CharField(_("paper"), max_length=8, choices=Paper, default=Paper.LETTER)
    tax_rounding = models.CharField(
        _("rounding of tax"), max_length=8, choices=Rounding, default=Rounding.BY_LINE
    )
    quote_days = models.PositiveSmallIntegerField(_("a quote is good for, days"), default=14)
    drum_deposit_cents = models.PositiveIntegerField(_("deposit on a drum"), default=0)
    drum_price_cents = models.PositiveIntegerField(_("price of an empty drum"), default=0)

    class Meta:
        verbose_name = _("business details")
        verbose_name_plural = _("business details")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="house_is_one"),
        ]

    def __str__(self) -> str:
        return self.name

    def save(self, *args, **kwargs) -> None:
        self.pk = 1
        super().save(*args, **kwargs)

    @classmethod
    def current(cls) -> "House":
        """Return the one row, or its defaults while it has not been saved."""
        return cls.objects.filter(pk=1).first() or cls(pk=1, name=str(_("Our honey house")))
