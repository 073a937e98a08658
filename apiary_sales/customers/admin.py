from django.contrib import admin

from apiary_sales.customers.models import Customer, CustomerBalance, DeliveryAddress
from inventory.shared.admin import ReadOnlyAdmin


@admin.register(Customer)
class CustomerAdmin(admin.ModelAdmin):
    list_display = ["name", "kind", "tier", "city", "tax_status", "is_active"]
    list_filter = ["kind", "tier", "tax_status", "is_active"]
    search_fields = ["name", "contact", "city", "email"]


@admin.register(DeliveryAddress)
class DeliveryAddressAdmin(ReadOnlyAdmin):
    list_display = ["customer", "name", "street", "city", "is_active"]
    list_filter = ["is_active"]
    list_select_related = ["customer"]
    search_fields = ["customer__name", "name", "city"]


@admin.register(CustomerBalance)
class CustomerBalanceAdmin(ReadOnlyAdmin):
    list_display = ["customer", "owed_cents"]
    list_select_related = ["customer"]
    search_fields = ["customer__name"]
