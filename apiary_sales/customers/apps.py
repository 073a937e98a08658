from django.apps import AppConfig


class CustomersConfig(AppConfig):
    name = "apiary_sales.customers"

    def ready(self) -> None:
        from django.urls import reverse

        from apiary_sales.customers import found_things, personal_data, personal_queries
        from apiary_sales.customers.permissions import ANY_OF
        from apiary_sales.customers.services import personal_data as erasing
        from inventory.shared import attachable

        personal_data.register(
            personal_data.DataHolder(held=personal_queries.held_here, erase=erasing.erase_here)
        )
        found_things.register()
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
