"""Pages of products, varieties and brands: set up, changed, put out of use."""

import pytest
from django.urls import reverse

from inventory.bottling.models import Brand, PackagingPart, Product, Variety
from inventory.bottling.services import products
from tests import builders

pytestmark = pytest.mark.django_db


@pytest.fixture
def bottler(client):
    client.force_login(builders.person("bottling"))
    return client


@pytest.fixture
def size(db):
    return builders.size("One pound", code="1-lb")


def asked(size, **more):
    """What the form of a new honey sends."""
    return {
        "key": builders.new_key(),
        "size": size.pk,
        "form": "liquid",
        "low_stock_pieces": "12",
        "parts-TOTAL_FORMS": "1",
        "parts-INITIAL_FORMS": "0",
        **more,
    }


def test_a_second_honey_in_a_size_is_set_up_on_one_page(bottler, size):
    label = builders.part("Wren Hollow label", PackagingPart.Kind.LABEL)

    sent = bottler.post(
        reverse("inventory:product_create"),
        asked(
            size,
            new_variety="Buckwheat",
            new_floral_source="buckwheat",
            new_brand="Wren Hollow",
            gtin="4006381333931",
            **{"parts-0-part": label.pk, "parts-0-quantity": "1", "parts-0-per_pieces": "1"},
        ),
        follow=True,
    )

    made = Product.objects.get(gtin="4006381333931")
    assert made.name == "One pound, Buckwheat, Wren Hollow"
    assert [use.part for use in made.uses()] == [label]
    assert "Added One pound, Buckwheat, Wren Hollow. Set its prices before it is sold." in sent.text
    assert "Add another honey in this size" in sent.text


def test_the_page_of_a_size_leads_to_another_honey_in_it(bottler, size):
    url = f"{reverse('inventory:product_create')}?size=1-lb"

    page = bottler.get(reverse("inventory:size_edit", args=["1-lb"]))
    form = bottler.get(url)

    assert f'href="{url}"' in page.text
    assert f'<option value="{size.pk}" selected>' in form.text


def test_a_house_with_one_product_a_size_sees_plain_lines(bottler, size):
    text = bottler.get(reverse("inventory:product_list")).text

    assert "Add another honey in this size" not in text
    assert ">Brand<" not in text
    assert ">Variety<" not in text


def test_what_is_wrong_is_said_at_its_field(bottler, size):
    page = bottler.post(
        reverse("inventory:product_create"), asked(size, new_variety="Buckwheat", gtin="12345")
    )

    assert page.status_code == 422
    assert page.context["form"].errors == {
        "gtin": ["A GTIN has 8, 12, 13 or 14 digits; this has 5."]
    }
    assert not Variety.objects.exists()


def test_a_standard_product_is_asked_for_its_name_and_figures_alone(bottler, size):
    url = reverse("inventory:product_edit", args=["1-lb"])

    form = bottler.get(url).context["form"]
    bottler.post(url, asked(size, name="Pound jar", gtin="4006381333931"))

    assert set(form.fields) == {"key", "name", "gtin", "low_stock_pieces"}
    product = size.products.get()
    assert (product.name, product.low_stock_pieces, product.is_standard) == ("Pound jar", 12, True)


def test_a_product_keeps_a_brand_that_is_out_of_use_by_now(bottler, size):
    brand = products.save_brand(name="Wren Hollow")
    made = products.save_honey(size=size, brand=brand)
    products.save_brand(name="Wren Hollow", is_active=False, brand=brand)

    bottler.post(
        reverse("inventory:product_edit", args=[made.code]),
        asked(size, brand=brand.pk, name="For Wren Hollow"),
    )

    made.refresh_from_db()
    assert (made.name, made.brand) == ("For Wren Hollow", brand)


def test_a_product_is_put_out_of_use_and_back(bottler, size):
    made = products.save_honey(size=size, new_variety="Buckwheat")
    url = reverse("inventory:product_switch", args=[made.code])

    gone = bottler.post(url, follow=True)
    back = bottler.post(url, follow=True)

    assert "One pound, Buckwheat is out of use. Pieces already in stock stay" in gone.text
    assert "One pound, Buckwheat is in use again." in back.text


def test_varieties_and_brands_are_added_and_changed(bottler, size):
    sent = {"is_active": "on"}

    bottler.post(
        reverse("inventory:variety_create"),
        {**sent, "key": "a", "name": "Buckwheat", "floral_source": "buckwheat"},
    )
    blend = bottler.post(
        reverse("inventory:variety_create"),
        {**sent, "key": "b", "name": "House blend"},
        follow=True,
    )
    bottler.post(reverse("inventory:brand_create"), {**sent, "key": "c", "name": "Wren Hollow"})
    brand = Brand.objects.get()
    changed = bottler.post(
        reverse("inventory:brand_edit", args=[brand.pk]),
        {"key": "d", "name": "Wren Hollow Farm"},
        follow=True,
    )
    again = bottler.post(
        reverse("inventory:variety_create"), {**sent, "key": "e", "name": "buckwheat"}
    )

    assert "honey whose floral source has “buckwheat”" in blend.text
    assert "house blend: you choose the lots" in blend.text
    assert "Wren Hollow Farm" in changed.text
    assert not Brand.objects.get().is_active
    assert "There is a variety called buckwheat already. Choose another name." in again.text


@pytest.mark.parametrize("name", ["product_create", "variety_create", "brand_create"])
def test_who_may_not_edit_sizes_may_not_add_products(client, name):
    client.force_login(builders.person("office"))

    assert client.get(reverse(f"inventory:{name}")).status_code == 403
    assert client.get(reverse("inventory:product_list")).status_code == 200
