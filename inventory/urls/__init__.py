"""Addresses of the honey house: bulk honey, bottling and packed stock."""

from . import bottling, honey, stock

app_name = "inventory"

urlpatterns = [*honey.urlpatterns, *bottling.urlpatterns, *stock.urlpatterns]
