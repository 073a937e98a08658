"""Programs that are told in the back office: to be looked at, never changed."""

from django.contrib import admin

from apiary_sales.webhooks.models import Endpoint, EventDelivery, HouseEvent
from inventory.shared.admin import ReadOnlyAdmin


@admin.register(Endpoint)
class EndpointAdmin(ReadOnlyAdmin):
    list_display = ["name", "url", "is_on"]
    exclude = ["sealed_secret", "sealed_old_secret"]


@admin.register(HouseEvent)
class EventAdmin(ReadOnlyAdmin):
    list_display = ["event_id", "kind", "happened_at"]
    list_filter = ["kind"]


@admin.register(EventDelivery)
class DeliveryAdmin(ReadOnlyAdmin):
    list_display = ["event", "endpoint", "state", "tries", "status"]
    list_filter = ["state", "endpoint"]
