from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "apiary_sales.customers"

    def ready(self) -> None:
        from django.urls import reverse

        from apiary_sales.customers.permissions import ANY_OF
        from inventory.shared import attachable

        attachable.register(
            "customers.Customer",
            name="customer",
            see=ANY_OF,
            add=("customers.manage_customers",),
            page=lambda customer: reverse("customers:detail", args=[customer.pk]),
        )
        attachable.register(
            "customers.ExemptionCertificate",
            name="certificate",
            see=ANY_OF,
            add=("customers.manage_customers",),
            page=lambda certificate: reverse("customers:certificate", args=[certificate.pk]),
        )
