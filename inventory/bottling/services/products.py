"""Products: set up, changed, put out of use; and the varieties and brands they are sold under."""

from collections.abc import Sequence
from dataclasses import dataclass

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.bottling.models import Brand, PackagingPart, Product, Size, Variety
from inventory.physics import gtin as gtins
from inventory.shared import checks, codes, words
from inventory.shared.errors import BadValue, Problems
from inventory.stock.models import Item, Lot

NAME_LENGTH_MAX = 100
# Of a variety or brand, which are parts of a product's name.
NAME_PART_LENGTH_MAX = 60
LOW_STOCK_MAX = 1_000_000
USE_MAX = 1_000


@dataclass(frozen=True)
class PartUse:
    """So many of a part go with so many filled pieces: one lid for 1, one case for 12."""

    part: PackagingPart
    quantity: int = 1
    per_pieces: int = 1


@transaction.atomic
def save_honey(
    *,
    size: Size,
    variety: Variety | None = None,
    form: str = Product.Form.LIQUID,
    brand: Brand | None = None,
    new_variety: str = "",
    new_floral_source: str = "",
    new_brand: str = "",
    name: str = "",
    gtin: str = "",
    low_stock_pieces: int = 0,
    parts: Sequence[PartUse] | None = None,
    product: Product | None = None,
    code: str = "",
    is_weighed: bool = False,
) -> Product:
    """Add a honey in a size, or change `product`; `parts` replaces the parts of its own.

    `new_variety`, with the floral source it is filled from, and `new_brand` are added with it; one
    of that name that is there already is used. A new one of comb that `is_weighed` is counted in
    grams, to be cut into pieces. Without a name it is called by what it is: "One pound, buckwheat".
    What it is can't change once jars were filled under it, and a standard product stays the
    standard one; its short name, which is in the address, never changes. Raises
    `BadValue` and `SeveralProblems`.
    """
    problems = Problems()
    if new_variety.strip():
        variety = _variety_named(problems, variety, new_variety, new_floral_source)
    if new_brand.strip():
        brand = _brand_named(problems, brand, new_brand)
    name = " ".join(name.split()) or name_of(size, variety, form, brand)
    gtin = "".join(character for character in gtin if character not in " -")
    rivals = Product.objects.exclude(pk=product.pk) if product else Product.objects.all()
    check_name(problems, rivals, name)
    if code and product is None and rivals.filter(code=code).exists():
        problems.add(
            "code",
            _("There is a product with the short name %(code)s already. Choose another.")
            % {"code": code},
        )
    if form not in Product.Form.values:
        problems.add("form", _("Choose liquid, creamed, comb or chunk honey."))
    elif rival := rivals.filter(
        kind=Product.Kind.HONEY,
        size=size,
        variety=variety,
        form=form,
        brand=brand,
        is_unlabelled=False,
    ).first():
        problems.add(
            "variety",
            _("%(name)s is the same size, variety, form and brand. Change one of them.")
            % {"name": rival.name},
        )
    if is_weighed and form != Product.Form.COMB:
        problems.add("is_weighed", _("Only comb honey is counted by weight."))
    _check_still_the_same(problems, product, size, variety, form, brand)
    check_gtin(problems, gtin)
    check_gtin_is_free(problems, rivals, gtin)
    if not 0 <= low_stock_pieces <= LOW_STOCK_MAX:
        problems.add("low_stock_pieces", _("Enter how many, from 0 to a million."))
    check_parts(problems, parts or ())
    problems.raise_any()
    product = _saved(
        product,
        kind=Product.Kind.HONEY,
        name=name,
        code=code or codes.free(Product, name, fallback="product"),
        is_weighed=is_weighed,
    )
    product.size, product.variety, product.form, product.brand = size, variety, form, brand
    product.gtin = gtin
    product.low_stock_pieces = low_stock_pieces
    checks.save_checked(product)
    if parts is not None:
        product.product_parts.exclude(part__in=[use.part for use in parts]).delete()
        for use in parts:
            product.product_parts.update_or_create(
                part=use.part, defaults={"quantity": use.quantity, "per_pieces": use.per_pieces}
            )
    return product


@transaction.atomic
def unlabelled(*, product: Product) -> Product:
    """Return the filled jars without a label of a honey's size, variety and form.

    They are made when first asked for, with the parts of the house's own product but its labels;
    they are not for sale, so they have no GTIN. Raises `BadValue` for what is not filled.
    """
    if product.is_unlabelled:
        return product
    if not product.is_filled:
        raise BadValue(
            _("%(product)s is not filled from a tank, so it has no jars without labels.")
            % {"product": product.name},
            parameter="product",
        )
    alike = Product.objects.of_honey().filter(
        size=product.size, variety=product.variety, form=product.form
    )
    if known := alike.filter(is_unlabelled=True).first():
        if not known.is_active:
            put_back_in_use(product=known)
        return known
    name = _("%(product)s, no label") % {
        "product": name_of(product.honey_size, product.variety, product.form, None)
    }
    made = _saved(
        None,
        kind=Product.Kind.HONEY,
        name=_free_name(name),
        code=codes.free(Product, name, fallback="product"),
    )
    made.size, made.variety, made.form = product.size, product.variety, product.form
    made.is_unlabelled = True
    checks.save_checked(made)
    house = alike.filter(brand=None, is_unlabelled=False).first()
    for use in house.product_parts.select_related("part") if house else ():
        if use.part.kind != PackagingPart.Kind.LABEL:
            made.product_parts.create(
                part=use.part, quantity=use.quantity, per_pieces=use.per_pieces
            )
    return made


def _free_name(name: str) -> str:
    """Return a name that no product has yet: this one, or with a number behind it."""
    free, number = name[:NAME_LENGTH_MAX], 1
    while Product.objects.filter(name__iexact=free).exists():
        number += 1
        free = f"{name[: NAME_LENGTH_MAX - 4]} {number}"
    return free


@transaction.atomic
def take_out_of_use(*, product: Product) -> Product:
    """Offer the product no longer; what is packed of it stays in the books."""
    product.is_active = False
    product.save(update_fields=["is_active"])
    return product


@transaction.atomic
def put_back_in_use(*, product: Product) -> Product:
    """Offer the product again."""
    product.is_active = True
    product.save(update_fields=["is_active"])
    return product


@transaction.atomic
def save_variety(
    *,
    name: str,
    floral_source: str = "",
    is_active: bool = True,
    variety: Variety | None = None,
) -> Variety:
    """Add a variety, or change one. Raises `BadValue` without a name or when it is taken."""
    name = " ".join(name.split())
    problems = Problems()
    rivals = Variety.objects.exclude(pk=variety.pk) if variety else Variety.objects.all()
    if not name:
        problems.add("name", _("Enter a name, for example “Buckwheat”."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a variety called %(name)s already. Choose another name.") % {"name": name},
        )
    problems.raise_any()
    variety = variety or Variety()
    variety.name, variety.floral_source = name, " ".join(floral_source.split())
    variety.is_active = is_active
    checks.save_checked(variety)
    return variety


@transaction.atomic
def save_brand(*, name: str, is_active: bool = True, brand: Brand | None = None) -> Brand:
    """Add a brand, or change one. Raises `BadValue` without a name or when it is taken."""
    name = " ".join(name.split())
    problems = Problems()
    rivals = Brand.objects.exclude(pk=brand.pk) if brand else Brand.objects.all()
    if not name:
        problems.add("name", _("Enter the name on the label."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a brand called %(name)s already. Choose another name.") % {"name": name},
        )
    problems.raise_any()
    brand = brand or Brand()
    brand.name, brand.is_active = name, is_active
    checks.save_checked(brand)
    return brand


def _variety_named(
    problems: Problems, chosen: Variety | None, name: str, floral_source: str
) -> Variety | None:
    """Return the variety of this name, added where there is none."""
    name = " ".join(name.split())
    if chosen is not None:
        problems.add("new_variety", _("Choose a variety, or enter a new one, not both."))
        return chosen
    if len(name) > NAME_PART_LENGTH_MAX:
        problems.add("new_variety", _("Enter 60 characters or fewer."))
        return None
    there = Variety.objects.filter(name__iexact=name).first()
    return there or save_variety(name=name, floral_source=floral_source)


def _brand_named(problems: Problems, chosen: Brand | None, name: str) -> Brand | None:
    """Return the brand of this name, added where there is none."""
    name = " ".join(name.split())
    if chosen is not None:
        problems.add("new_brand", _("Choose a brand, or enter a new one, not both."))
        return chosen
    if len(name) > NAME_PART_LENGTH_MAX:
        problems.add("new_brand", _("Enter 60 characters or fewer."))
        return None
    there = Brand.objects.filter(name__iexact=name).first()
    return there or save_brand(name=name)


def name_of(size: Size, variety: Variety | None, form: str, brand: Brand | None) -> str:
    """Return what a product is called without a name of its own: "One pound, buckwheat"."""
    told = [size.name]
    if variety:
        told.append(variety.name)
    if form != Product.Form.LIQUID and form in Product.Form.values:
        told.append(str(Product.Form(form).label).split(":")[0])
    if brand:
        told.append(brand.name)
    return ", ".join(told)[:NAME_LENGTH_MAX]


def rename(product: Product, name: str) -> None:
    """Call a product and its item in the ledger by another name; the caller saves no more."""
    product.name = name
    product.save(update_fields=["name"])
    product.item.name = name
    product.item.save(update_fields=["name"])


def check_name(problems: Problems, rivals, name: str) -> None:
    if not name:
        problems.add("name", _("Enter a name, for example “Beeswax candle”."))
    elif len(name) > NAME_LENGTH_MAX:
        problems.add("name", _("Enter 100 characters or fewer."))
    elif rivals.filter(name__iexact=name).exists():
        problems.add(
            "name",
            _("There is a product called %(name)s already. Choose another name.") % {"name": name},
        )


def check_gtin(problems: Problems, text: str) -> None:
    """Name what is wrong with an article number, and its right check digit."""
    if not text or gtins.is_valid_gtin(text):
        return
    if not (text.isascii() and text.isdigit()):
        problems.add("gtin", _("A GTIN has only digits. Remove everything else."))
    elif len(text) not in gtins.LENGTHS:
        problems.add(
            "gtin",
            _("A GTIN has 8, 12, 13 or 14 digits; this has %(count)s.") % {"count": len(text)},
        )
    else:
        right = gtins.gtin_check_digit(text[:-1])
        problems.add(
            "gtin",
            _(
                "Check the number %(gtin)s again. Its last digit is %(last)s, but with "
                "these numbers it should be %(right)s."
            )
            % {"gtin": text, "last": text[-1], "right": right},
        )


def check_gtin_is_free(problems: Problems, rivals, gtin: str) -> None:
    if gtin and (rival := rivals.filter(gtin=gtin).first()):
        problems.add(
            "gtin",
            _("%(name)s has this GTIN already. Each product needs its own.") % {"name": rival.name},
        )


def check_parts(problems: Problems, parts: Sequence[PartUse]) -> None:
    named = set()
    for index, use in enumerate(parts):
        if use.part.pk in named:
            problems.add(
                f"parts.{index}.part",
                _("%(part)s is listed twice. Put it in one line.") % {"part": use.part.name},
            )
        named.add(use.part.pk)
        if not (1 <= use.quantity <= USE_MAX and 1 <= use.per_pieces <= USE_MAX):
            problems.add(
                f"parts.{index}.quantity",
                _(
                    "%(part)s: enter how many are used and for how many pieces. Both can "
                    "be from 1 to %(most)s."
                )
                % {"part": use.part.name, "most": words.number(USE_MAX)},
            )


def _saved(
    product: Product | None, *, kind: str, name: str, code: str, is_weighed: bool = False
) -> Product:
    """Return the product with this name in the ledger too; a new one is not saved yet."""
    if product is None:
        item_kind = Item.Kind.PACKED if kind == Product.Kind.HONEY else Item.Kind.GOODS
        item = Item.objects.create(kind=item_kind, name=name, is_weighed=is_weighed)
        product = Product(item=item, kind=kind, code=code)
    elif product.item.name != name:
        product.item.name = name
        product.item.save(update_fields=["name"])
    product.name = name
    return product


def _check_still_the_same(
    problems: Problems,
    product: Product | None,
    size: Size,
    variety: Variety | None,
    form: str,
    brand: Brand | None,
) -> None:
    """Refuse to make another thing of a standard product, or of one that jars were filled as."""
    if product is None or product.size is None:
        return
    asked = {"size": size, "variety": variety, "form": form, "brand": brand}
    changed = [name for name, value in asked.items() if getattr(product, name) != value]
    if changed and product.is_standard:
        problems.add(
            changed[0],
            _(
                "%(product)s is the honey of its size as you usually sell it. Add another honey "
                "in this size instead."
            )
            % {"product": product.name},
        )
    elif changed and Lot.objects.filter(product=product).exists():
        for parameter in changed:
            problems.add(
                parameter,
                _(
                    "Jars of %(product)s were already filled, so this can't be changed. Add a "
                    "new product, and take this one out of use."
                )
                % {"product": product.name},
            )
