"""Addresses of the honey house: bulk honey, packed stock, bottling and attached files."""

from inventory.bottling import urls as bottling
from inventory.shared import urls as shared
from inventory.stock import urls as stock

app_name = "inventory"

urlpatterns = [*stock.urlpatterns, *bottling.urlpatterns, *shared.urlpatterns]
