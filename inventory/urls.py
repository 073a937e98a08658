"""Addresses of the honey house: bulk honey, packed stock and bottling."""

from inventory.bottling import urls as bottling
from inventory.stock import urls as stock

app_name = "inventory"

urlpatterns = [*stock.urlpatterns, *bottling.urlpatterns]
