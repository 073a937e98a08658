"""Products as the services keep them: named, told apart, and kept as what was filled."""

import pytest

from inventory.bottling.models import Brand, Product, Variety
from inventory.bottling.queries import products as product_queries
from inventory.bottling.services import products
from inventory.shared.errors import BadValue, HouseError
from inventory.stock.models import Item, Place
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def size():
    return builders.size("One pound", code="1-lb")


def test_a_honey_with_a_new_variety_and_brand_is_called_by_what_it_is(size):
    made = products.save_honey(
        size=size,
        new_variety=" Buckwheat ",
        new_floral_source="buckwheat",
        form="creamed",
        new_brand="Wren Hollow",
    )

    assert made.name == "One pound, Buckwheat, creamed, Wren Hollow"
    assert (made.variety.name, made.variety.floral_source) == ("Buckwheat", "buckwheat")
    assert made.brand.name == "Wren Hollow"
    assert made.item.name == made.name


def test_a_new_variety_that_is_there_already_is_used(size):
    there = products.save_variety(name="Buckwheat", floral_source="buckwheat")

    made = products.save_honey(size=size, new_variety="buckwheat")

    assert made.variety == there
    assert Variety.objects.count() == 1


@pytest.mark.parametrize(
    ("given", "parameter", "sentence"),
    [
        (
            {"new_variety": "Clover"},
            "new_variety",
            "Choose a variety, or enter a new one, not both.",
        ),
        ({"new_variety": "x" * 61}, "new_variety", "Enter 60 characters or fewer."),
        ({"new_brand": "x" * 61}, "new_brand", "Enter 60 characters or fewer."),
        ({"gtin": "4006381333932"}, "gtin", None),
    ],
)
def test_what_is_refused_leaves_no_variety_or_brand_behind(size, given, parameter, sentence):
    variety = products.save_variety(name="Buckwheat")
    chosen = {"variety": variety} if sentence and "not both" in sentence else {}

    with pytest.raises(HouseError) as refused:
        products.save_honey(size=size, **{"new_brand": "Wren Hollow", **given}, **chosen)

    assert refused.value.problems[0].parameter == parameter
    if sentence:
        assert refused.value.problems[0].message == sentence
    assert not Brand.objects.exists()
    assert list(Variety.objects.all()) == [variety]


def test_a_standard_product_stays_the_honey_of_its_size(size):
    variety = products.save_variety(name="Buckwheat")

    with pytest.raises(BadValue) as refused:
        products.save_honey(size=size, variety=variety, product=size.standard_product)

    assert refused.value.parameter == "variety"
    assert refused.value.message == (
        "One pound is the honey of its size as you usually sell it. Add another honey in this "
        "size instead."
    )


def test_filled_jars_stay_what_they_were_filled_as(size):
    made = products.save_honey(size=size, new_variety="Buckwheat")
    builders.packed_lot(made, builders.place("shelf", Place.Kind.SHELF), 12)

    with pytest.raises(BadValue) as refused:
        products.save_honey(size=size, new_variety="Clover", product=made)
    renamed = products.save_honey(
        size=size, variety=made.variety, name="Dark one", low_stock_pieces=6, product=made
    )

    assert refused.value.parameter == "variety"
    assert (renamed.name, renamed.code, renamed.low_stock_pieces) == (
        "Dark one",
        "one-pound-buckwheat",
        6,
    )


def test_honey_comes_first_by_size_and_other_goods_after_it(size):
    item = Item.objects.create(kind=Item.Kind.GOODS, name="Candle")
    candle = Product.objects.create(item=item, kind="goods", code="candle", name="Candle")
    quart = builders.product("Quart", brimful_ml=1_005)
    buckwheat = products.save_honey(size=size, new_variety="Buckwheat")

    assert list(Product.objects.all()) == [size.standard_product, buckwheat, quart, candle]
    assert [row.product for row in product_queries.product_list().others] == [candle]


def test_the_list_has_every_product_under_its_size_in_two_queries(size, django_assert_num_queries):
    old = builders.size("Old jar", is_active=False)
    buckwheat = products.save_honey(size=size, new_variety="Buckwheat")
    products.take_out_of_use(product=buckwheat)
    builders.packed_lot(buckwheat, builders.place("shelf", Place.Kind.SHELF), 7)

    with django_assert_num_queries(2):
        found = product_queries.product_list()

    assert [(each.size, each.is_plain) for each in found.sizes] == [(size, False), (old, True)]
    assert [(row.product, row.on_hand) for row in found.sizes[0].products] == [
        (size.standard_product, 0),
        (buckwheat, 7),
    ]
    assert found.shows_varieties
    assert not found.shows_brands
    assert Product.objects.count() == 3
