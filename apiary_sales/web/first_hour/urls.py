"""Addresses of the guided set-up, within those of `web`."""

from django.urls import path

from apiary_sales.web.first_hour.views import (
    begin,
    books,
    house,
    made,
    opening,
    packing,
    places,
    selling,
)
from apiary_sales.web.first_hour.views.step import StepView

VIEWS: tuple[type[StepView], ...] = (
    house.HouseView,
    house.MarketView,
    house.TaxView,
    places.TanksView,
    places.DrumsView,
    packing.SizesView,
    packing.PartsView,
    selling.PricesView,
    selling.PeopleView,
    selling.CostsView,
    opening.HoneyView,
    opening.JarsView,
    opening.StockView,
    books.CustomersView,
    books.NumbersView,
)

urlpatterns = [
    path("", begin.begin, name="set_up"),
    path("made/", made.made, name="set_up_made"),
    *(path(f"{view.slug}/", view.as_view(), name=f"set_up_{view.slug}") for view in VIEWS),
]
