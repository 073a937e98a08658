"""Customers in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.customers.models import (
    Customer,
    CustomerBalance,
    DeliveryAddress,
    ExemptionCertificate,
)
from inventory.shared.admin import ReadOnlyAdmin


@admin.register(Customer)
class CustomerAdmin(ReadOnlyAdmin):
    list_display = ["name", "kind", "tier", "city", "is_active"]
    list_filter = ["kind", "tier", "is_active"]
    search_fields = ["name", "contact", "city", "email"]


@admin.register(DeliveryAddress)
class DeliveryAddressAdmin(ReadOnlyAdmin):
    list_display = ["customer", "name", "street", "city", "is_active"]
    list_filter = ["is_active"]
    list_select_related = ["customer"]
    search_fields = ["customer__name", "name", "city"]


@admin.register(ExemptionCertificate)
class ExemptionCertificateAdmin(ReadOnlyAdmin):
    list_display = ["customer", "number", "jurisdiction", "reason", "valid_from", "expires"]
    list_select_related = ["customer"]
    search_fields = ["customer__name", "number"]


@admin.register(CustomerBalance)
class CustomerBalanceAdmin(ReadOnlyAdmin):
    list_display = ["customer", "owed_cents"]
    list_select_related = ["customer"]
    search_fields = ["customer__name"]
