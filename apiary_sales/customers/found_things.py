"""What "Find anything" finds of the customers."""

from django.urls import reverse
from django.utils.translation import gettext_lazy

from apiary_sales.customers.permissions import ANY_OF
from inventory.shared import findable
from inventory.shared.findable import Findable, SearchWords, ThingPage


def register() -> None:
    findable.register(
        Findable(
            name="customer",
            number=110,
            label=gettext_lazy("Customers"),
            one=gettext_lazy("Customer"),
            model="customers.Customer",
            fields=("name", "contact", "phone", "email"),
            reads=lambda customer: SearchWords(
                codes=(customer.name,),
                words=(customer.contact, customer.email),
                phones=(customer.phone,),
            ),
            pages=(
                ThingPage(ANY_OF, lambda customer: reverse("customers:detail", args=[customer.pk])),
            ),
            line=lambda customer: findable.in_one_line(
                str(customer.get_kind_display()), customer.contact, customer.city, customer.phone
            ),
        )
    )
