"""The form of a customer, and the one that finds some."""

from decimal import Decimal

from django import forms
from django.conf import settings
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from apiary_sales.customers.models import Customer, ExemptionCertificate
from inventory.shared.forms.acts import ActForm, HouseForm
from inventory.shared.forms.countries import CountryField
from inventory.shared.forms.fields import DayField, MoneyField, NumberField, WholeNumberField
from inventory.stock.models import Supplier


class CustomerForm(HouseForm):
    """What is known of a customer."""

    name = forms.CharField(label=_("Name"), max_length=120)
    kind = forms.ChoiceField(
        label=_("Kind"), choices=Customer.Kind, initial=Customer.Kind.SHOP, widget=forms.RadioSelect
    )
    tier = forms.ChoiceField(
        label=_("Price list"),
        choices=Customer.Tier,
        initial=Customer.Tier.SHOP,
        help_text=_("The prices that new orders start with."),
    )
    contact = forms.CharField(label=_("Contact person"), max_length=120, required=False)
    phone = forms.CharField(
        label=_("Telephone"),
        max_length=40,
        required=False,
        widget=forms.TextInput(attrs={"inputmode": "tel", "autocomplete": "off"}),
    )
    email = forms.EmailField(
        label=_("E-mail"),
        required=False,
        error_messages={"invalid": _("Enter an e-mail address, for example name@place.example.")},
    )
    street = forms.CharField(label=_("Street"), max_length=160, required=False)
    city = forms.CharField(label=_("Town"), max_length=80, required=False)
    region = forms.CharField(label=_("State or region"), max_length=80, required=False)
    postal_code = forms.CharField(label=_("Postal code"), max_length=20, required=False)
    country = forms.CharField(label=_("Country"), max_length=60, required=False)
    country_code = CountryField(
        label=_("Country by its code"),
        required=False,
        help_text=_("For invoices with data that the buyer's program reads."),
    )
    tax_number = forms.CharField(
        label=_("Tax number"),
        max_length=40,
        required=False,
        help_text=_("A number for value added tax begins with the letters of its country."),
    )
    language = forms.ChoiceField(
        label=_("Language of papers"),
        choices=[("", _("the language of the house")), *settings.LANGUAGES],
        required=False,
    )
    invoice_format = forms.ChoiceField(
        label=_("Invoices as"),
        choices=Customer.InvoiceFormat,
        initial=Customer.InvoiceFormat.PDF,
        widget=forms.RadioSelect,
        help_text=_(
            "The data follows the European norm EN 16931. It wants the tax rounded once for each "
            "rate, so the invoices of this customer are, whatever the house does for others."
        ),
    )
    buyer_reference = forms.CharField(
        label=_("Their reference for invoices"),
        max_length=60,
        required=False,
        help_text=_("Written on each invoice with data, where the buyer asks for one."),
    )
    terms_days = WholeNumberField(
        label=_("Days to pay"),
        min_value=0,
        max_value=32_767,
        initial=30,
        help_text=_("0 means the customer pays at once."),
        error_messages={"min_value": _("Enter 0 days or more.")},
    )
    discount_percent = NumberField(
        label=_("Discount for early payment, percent"),
        max_digits=5,
        decimal_places=2,
        min_value=0,
        required=False,
        initial=0,
        help_text=_("2 within 10 days is often written 2/10. 0 for none."),
        error_messages={"min_value": _("Enter 0 or more.")},
    )
    discount_days = WholeNumberField(
        label=_("Days for the discount"),
        min_value=0,
        required=False,
        max_value=32_767,
        initial=0,
        error_messages={"min_value": _("Enter 0 days or more.")},
    )
    credit_limit_cents = MoneyField(
        label=_("Credit limit"),
        required=False,
        help_text=_("Leave empty for no limit."),
        error_messages={"min_value": _("Enter a credit limit of 0 or more.")},
    )
    note = forms.CharField(label=_("Note"), required=False, widget=forms.Textarea)
    supplier = forms.ModelChoiceField(
        label=_("The same as"),
        queryset=Supplier.objects.order_by("name"),
        required=False,
        empty_label=_("no supplier or beekeeper"),
        help_text=_("For a beekeeper whose honey you work on: who is billed for the work."),
    )
    is_active = forms.BooleanField(
        label=_("Show this customer when taking new orders"), required=False, initial=True
    )

    def clean_discount_percent(self) -> Decimal:
        return self.cleaned_data["discount_percent"] or Decimal(0)

    def clean_discount_days(self) -> int:
        return self.cleaned_data["discount_days"] or 0


class AddressForm(ActForm):
    """Where else goods of a customer go."""

    name = forms.CharField(
        label=_("Name at this address"), max_length=120, help_text=_("For example of the shop.")
    )
    street = forms.CharField(label=_("Street"), max_length=160, required=False)
    city = forms.CharField(label=_("Town"), max_length=80, required=False)
    region = forms.CharField(label=_("State or region"), max_length=80, required=False)
    postal_code = forms.CharField(label=_("Postal code"), max_length=20, required=False)
    country = forms.CharField(label=_("Country"), max_length=60, required=False)
    note = forms.CharField(label=_("Note for the driver"), max_length=200, required=False)


class CertificateForm(ActForm):
    """A certificate that frees a customer from sales tax."""

    number = forms.CharField(label=_("Certificate number"), max_length=60)
    jurisdiction = forms.CharField(
        label=_("State or authority"),
        max_length=60,
        required=False,
        help_text=_("Who gave it, and where it is good."),
    )
    reason = forms.ChoiceField(
        label=_("Why the customer is exempt"),
        choices=ExemptionCertificate.Reason,
        widget=forms.RadioSelect,
    )
    other_reason = forms.CharField(label=_("Other reason"), max_length=80, required=False)
    valid_from = DayField(label=_("Valid from"), initial=timezone.localdate)
    expires = DayField(
        label=_("Certificate expires"),
        required=False,
        help_text=_("Leave empty if it does not expire."),
    )


class CertificateEndForm(HouseForm):
    """The last day of a certificate."""

    expires = DayField(
        label=_("Certificate expires"),
        required=False,
        help_text=_("Leave empty if it does not expire."),
    )


class FindForm(HouseForm):
    """What to find customers by; everything may be left empty."""

    words = forms.CharField(label=_("Find"), required=False, max_length=100)
    kind = forms.ChoiceField(
        label=_("Kind"), required=False, choices=[("", _("all")), *Customer.Kind.choices]
    )
    all = forms.BooleanField(label=_("Also show inactive customers"), required=False)
