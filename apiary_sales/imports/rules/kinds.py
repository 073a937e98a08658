"""What can be brought in: the columns of each kind of list, who may, and how many rows at most."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

from apiary_sales.billing.models import ExpenseCategory, PaidBy
from apiary_sales.customers.models import Customer
from apiary_sales.imports.models import ImportKind
from apiary_sales.imports.rules.columns import CellKind, DaysAgo, ListColumn
from apiary_sales.orders.models import Order
from inventory.bottling.models import PackagingPart, Product

BRING_IN = "imports.bring_in_lists"
# A list that is written in one transaction has so few rows that nobody at the till waits long:
# a second or two on a small machine, where a row of stock takes three times as long as another.
ROWS_AT_ONCE_MAX = 500
STOCK_ROWS_MAX = 200
PAST_SALES_MAX = 120_000


@dataclass(frozen=True)
class ListKind:
    """A kind of list: what it is called, its columns, and who may bring it in.

    `asks` is said before the columns. The address of its first page is by `kind`.
    """

    kind: ImportKind
    hint: str | Promise
    columns: tuple[ListColumn, ...]
    permissions: tuple[str, ...]
    rows_max: int = ROWS_AT_ONCE_MAX

    @property
    def label(self) -> str:
        return str(self.kind.label)

    def column(self, name: str) -> ListColumn | None:
        """Return the column of this name, or one that a service refuses under this name."""
        for column in self.columns:
            if name == column.name or name in column.parameters:
                return column
        return None


def _text(
    name: str, label: str | Promise, example: str | Promise = "", **rest: object
) -> ListColumn:
    return ListColumn(name, label, CellKind.TEXT, example, **rest)  # type: ignore[arg-type]


CUSTOMERS = ListKind(
    ImportKind.CUSTOMERS,
    _("Shops, drum buyers and others, with address, price list and terms"),
    (
        _text(
            "name",
            _("Name"),
            _("Corner Bakery"),
            is_required=True,
            length_max=120,
            words=("customer", "company", "business", "nombre", "cliente", "empresa"),
        ),
        ListColumn(
            "kind",
            _("Kind of customer"),
            CellKind.CHOICE,
            Customer.Kind.SHOP.label,
            choices=Customer.Kind,
            words=("type", "customer type", "tipo", "tipo de cliente"),
        ),
        ListColumn(
            "tier",
            _("Price list"),
            CellKind.CHOICE,
            Customer.Tier.SHOP.label,
            choices=Customer.Tier,
            words=("price level", "lista de precios", "tarifa"),
        ),
        _text(
            "contact",
            _("Contact person"),
            _("Ana Reyes"),
            length_max=120,
            words=("contact name", "contacto", "persona de contacto"),
        ),
        _text(
            "email",
            _("E-mail"),
            "ana@bakery.example",
            length_max=254,
            words=("mail", "email address", "correo", "correo electrónico"),
        ),
        _text(
            "phone",
            _("Telephone"),
            "555 0142",
            length_max=40,
            words=("phone number", "mobile", "tel", "teléfono", "celular", "móvil"),
        ),
        _text(
            "street",
            _("Street"),
            _("12 Mill Road"),
            length_max=160,
            words=("address", "street address", "calle", "dirección", "domicilio"),
        ),
        _text(
            "city",
            _("Town"),
            _("Millbrook"),
            length_max=80,
            words=("city", "ciudad", "población", "localidad"),
        ),
        _text(
            "region",
            _("State or region"),
            length_max=80,
            words=("state", "province", "region", "estado", "provincia", "región"),
        ),
        _text(
            "postal_code",
            _("Postal code"),
            "10001",
            length_max=20,
            words=("zip", "zip code", "postcode", "código postal", "cp"),
        ),
        _text("country", _("Country"), length_max=60, words=("país",)),
        _text(
            "tax_number",
            _("Tax number"),
            length_max=40,
            words=("vat number", "tax id", "nif", "rfc", "número fiscal"),
        ),
        ListColumn(
            "terms_days",
            _("Days to pay"),
            CellKind.WHOLE,
            30,
            words=("terms", "payment terms", "net days", "días para pagar", "plazo"),
        ),
        ListColumn(
            "credit_limit",
            _("Credit limit"),
            CellKind.MONEY,
            words=("límite de crédito",),
            parameters=("credit_limit_cents",),
        ),
        _text("note", _("Note"), length_max=500, words=("notes", "comment", "nota", "notas")),
    ),
    ("customers.manage_customers",),
)

PRODUCTS = ListKind(
    ImportKind.PRODUCTS,
    _("What you fill and sell: sizes, varieties, brands, bar codes, and other goods"),
    (
        _text(
            "name",
            _("Name"),
            _("One pound"),
            is_required=True,
            length_max=100,
            words=("product", "item", "description", "nombre", "producto", "artículo"),
        ),
        ListColumn(
            "kind",
            _("Kind of product"),
            CellKind.CHOICE,
            Product.Kind.HONEY.label,
            _("Honey where it is empty. Gift boxes are put together on their own page"),
            choices=Product.Kind,
            words=("type", "tipo", "tipo de producto"),
        ),
        _text(
            "size",
            _("Size"),
            _("One pound"),
            hint=_("The name of the jar size; the name of the product where it is empty"),
            length_max=60,
            words=("jar size", "tamaño", "envase", "presentación"),
        ),
        ListColumn(
            "net_weight",
            _("Net weight on the label"),
            CellKind.LABEL_WEIGHT,
            "1 lb",
            _("With its unit: 1 lb, 12 oz, 500 g. Needed for a size that is not there yet"),
            words=("net weight", "weight", "peso neto", "peso", "contenido neto"),
            parameters=("declared_amount", "declared_unit"),
        ),
        ListColumn(
            "brimful_ml",
            _("Holds to the brim, ml"),
            CellKind.NUMBER,
            345,
            _("Empty where it is a usual jar of that weight"),
            words=("capacity", "capacity ml", "capacidad", "capacidad ml"),
        ),
        ListColumn(
            "tare_grams",
            _("Empty weight, g"),
            CellKind.WHOLE,
            180,
            words=("tare", "tara", "peso vacío"),
        ),
        ListColumn(
            "pieces_per_case",
            _("Pieces in a case"),
            CellKind.WHOLE,
            12,
            words=("case", "per case", "case size", "piezas por caja", "unidades por caja"),
        ),
        _text("variety", _("Variety"), length_max=60, words=("variedad",)),
        _text(
            "floral_source",
            _("Floral source"),
            hint=_("What a new variety is filled from"),
            length_max=120,
            words=("flower", "flora", "origen floral", "floración"),
        ),
        ListColumn(
            "form",
            _("Form"),
            CellKind.CHOICE,
            Product.Form.LIQUID.label,
            choices=Product.Form,
            words=("forma",),
        ),
        _text("brand", _("Brand"), length_max=60, words=("label", "private label", "marca")),
        _text(
            "gtin",
            _("GTIN (bar code number)"),
            length_max=20,
            words=("gtin", "barcode", "bar code", "upc", "ean", "código de barras"),
        ),
        ListColumn(
            "low_stock_pieces",
            _("Low when fewer than"),
            CellKind.WHOLE,
            words=("low stock", "reorder point", "minimum", "stock mínimo", "mínimo"),
            parameters=("low_stock",),
        ),
    ),
    ("inventory.manage_parts", "inventory.manage_goods"),
    rows_max=STOCK_ROWS_MAX,
)

PRICES = ListKind(
    ImportKind.PRICES,
    _("What a piece and a case cost in each price list"),
    (
        ListColumn(
            "product",
            _("Product"),
            CellKind.PRODUCT,
            _("One pound"),
            is_required=True,
            words=("item", "name", "gtin", "producto", "artículo", "nombre"),
        ),
        ListColumn(
            "tier",
            _("Price list"),
            CellKind.CHOICE,
            Customer.Tier.STAND.label,
            is_required=True,
            choices=Customer.Tier,
            words=("price level", "list", "lista de precios", "lista", "tarifa"),
        ),
        ListColumn(
            "piece",
            _("Price of one"),
            CellKind.MONEY,
            Decimal("9.50"),
            is_required=True,
            words=("price", "unit price", "precio", "precio unitario"),
            parameters=("piece_cents",),
        ),
        ListColumn(
            "min_pieces",
            _("From how many pieces"),
            CellKind.WHOLE,
            1,
            words=("minimum", "quantity", "from", "desde", "cantidad mínima"),
        ),
        ListColumn(
            "case",
            _("Price of a case"),
            CellKind.MONEY,
            words=("case price", "precio por caja", "precio de la caja"),
            parameters=("case_cents",),
        ),
        ListColumn(
            "valid_from",
            _("Valid from"),
            CellKind.DAY,
            DaysAgo(0),
            _("Today where it is empty"),
            words=("since", "date", "válido desde", "vigente desde"),
        ),
    ),
    ("pricing.manage_prices",),
)

_SEASON = ListColumn(
    "season",
    _("Season"),
    CellKind.WHOLE,
    2025,
    is_required=True,
    words=("year", "harvest", "temporada", "año", "cosecha"),
)
_BEGINS_ON = ListColumn(
    "begins_on",
    _("Your books begin on"),
    CellKind.DAY,
    DaysAgo(0),
    _("Today where it is empty"),
    words=("opening day", "as of", "books begin", "fecha de inicio", "inicio de los libros"),
)

JARS = ListKind(
    ImportKind.JARS,
    _("Jars that are filled already, with the lot codes that are printed on them"),
    (
        ListColumn(
            "product",
            _("Product"),
            CellKind.PRODUCT,
            _("One pound"),
            is_required=True,
            words=("honey", "item", "name", "gtin", "producto", "miel", "artículo"),
        ),
        ListColumn(
            "pieces",
            _("Pieces"),
            CellKind.WHOLE,
            48,
            is_required=True,
            words=("quantity", "count", "jars", "stock", "piezas", "cantidad", "frascos", "tarros"),
        ),
        ListColumn(
            "place",
            _("Place"),
            CellKind.PLACE,
            "shelf",
            is_required=True,
            words=("shelf", "location", "store", "lugar", "estante", "ubicación"),
        ),
        _text(
            "lot_code",
            _("Lot code on the jars"),
            "23-114",
            is_required=True,
            length_max=40,
            words=("lot", "lot code", "batch", "lote", "código de lote"),
        ),
        _text(
            "floral_source",
            _("Floral source"),
            _("clover"),
            is_required=True,
            length_max=120,
            words=("flower", "flora", "origen floral", "floración"),
        ),
        _SEASON,
        ListColumn(
            "bottled_on",
            _("Filled on"),
            CellKind.DAY,
            DaysAgo(90),
            is_required=True,
            words=("bottled", "packed on", "bottling date", "envasado", "fecha de envasado"),
        ),
        ListColumn(
            "best_by",
            _("Best by"),
            CellKind.DAY,
            words=("best before", "expiry", "consumo preferente", "caducidad"),
        ),
        ListColumn(
            "cost",
            _("What it cost"),
            CellKind.MONEY,
            hint=_("Of all pieces of the row together"),
            words=("total cost", "costo", "coste", "costo total"),
            parameters=("cost_cents",),
        ),
        _BEGINS_ON,
        _text("note", _("Note"), length_max=300, words=("notes", "nota", "notas")),
    ),
    ("inventory.run_bottling",),
    rows_max=STOCK_ROWS_MAX,
)

HONEY = ListKind(
    ImportKind.HONEY,
    _("Honey in tanks, drums and pails, with its moisture"),
    (
        ListColumn(
            "place",
            _("Tank or drum"),
            CellKind.PLACE,
            "D-001",
            is_required=True,
            words=("place", "vessel", "tank", "drum", "tanque", "tambor", "lugar", "recipiente"),
        ),
        ListColumn(
            "grams",
            _("Weight of the honey"),
            CellKind.WEIGHT,
            "640 lb",
            _("With its unit; the unit of your house where it has none"),
            is_required=True,
            words=("weight", "net weight", "quantity", "peso", "peso neto", "cantidad"),
        ),
        _text(
            "floral_source",
            _("Floral source"),
            _("clover"),
            is_required=True,
            length_max=120,
            words=("flower", "honey", "flora", "origen floral", "floración", "miel"),
        ),
        _SEASON,
        ListColumn(
            "extracted_on",
            _("Extracted on"),
            CellKind.DAY,
            DaysAgo(120),
            is_required=True,
            words=("date", "extraction", "extraído", "fecha de extracción", "fecha"),
        ),
        ListColumn(
            "moisture_percent",
            _("Moisture, percent"),
            CellKind.NUMBER,
            Decimal("17.4"),
            is_required=True,
            words=("moisture", "water", "humedad", "agua"),
        ),
        ListColumn(
            "colour_mm",
            _("Colour, mm Pfund"),
            CellKind.NUMBER,
            words=("color", "colour", "pfund", "mm", "color mm pfund"),
        ),
        _text("yard", _("Yard"), length_max=120, words=("apiary", "apiario", "colmenar")),
        ListColumn(
            "cost",
            _("What it cost"),
            CellKind.MONEY,
            hint=_("Of all honey of the row together"),
            words=("total cost", "costo", "coste", "costo total"),
            parameters=("cost_cents",),
        ),
        _text("note", _("Note"), length_max=300, words=("notes", "nota", "notas")),
    ),
    ("inventory.move_honey",),
    rows_max=STOCK_ROWS_MAX,
)

PARTS = ListKind(
    ImportKind.PARTS,
    _("Empty jars, lids, labels and cases: how many there are, and when to order more"),
    (
        _text(
            "name",
            _("Name"),
            _("Lid, 70 mm"),
            is_required=True,
            length_max=100,
            words=("part", "item", "nombre", "pieza", "material", "artículo"),
        ),
        ListColumn(
            "kind",
            _("Kind of part"),
            CellKind.CHOICE,
            PackagingPart.Kind.LID.label,
            _("Needed for a part that is not there yet"),
            choices=PackagingPart.Kind,
            words=("type", "tipo", "clase"),
        ),
        ListColumn(
            "pieces",
            _("Pieces"),
            CellKind.WHOLE,
            600,
            words=("quantity", "count", "stock", "piezas", "cantidad", "existencias"),
        ),
        ListColumn(
            "place",
            _("Place"),
            CellKind.PLACE,
            "shelf",
            words=("shelf", "location", "store", "lugar", "estante", "ubicación"),
        ),
        ListColumn(
            "cost",
            _("What it cost"),
            CellKind.MONEY,
            Decimal("54.00"),
            _("Of all pieces of the row together"),
            words=("total cost", "costo", "coste", "costo total"),
            parameters=("cost_cents",),
        ),
        _text(
            "supplier",
            _("Supplier"),
            _("Glass and Lids"),
            length_max=120,
            words=("vendor", "proveedor"),
        ),
        ListColumn(
            "received_on",
            _("In the books from"),
            CellKind.DAY,
            DaysAgo(0),
            _("Today where it is empty"),
            words=("date", "received on", "as of", "fecha", "recibido"),
        ),
        ListColumn(
            "reorder_point",
            _("Order more below"),
            CellKind.WHOLE,
            200,
            words=("reorder point", "minimum", "mínimo", "punto de pedido"),
        ),
    ),
    ("inventory.manage_parts",),
    rows_max=STOCK_ROWS_MAX,
)

EXPENSES = ListKind(
    ImportKind.EXPENSES,
    _("Money that was spent; each row is in the books on its day"),
    (
        ListColumn(
            "spent_on",
            _("Day"),
            CellKind.DAY,
            DaysAgo(10),
            is_required=True,
            words=("date", "spent on", "paid on", "fecha", "día"),
        ),
        _text(
            "payee",
            _("Paid to"),
            _("Valley Fuel"),
            is_required=True,
            length_max=120,
            words=("payee", "vendor", "supplier", "pagado a", "proveedor", "beneficiario"),
        ),
        ListColumn(
            "category",
            _("What it was for"),
            CellKind.CHOICE,
            ExpenseCategory.FUEL.label,
            is_required=True,
            choices=ExpenseCategory,
            words=("category", "account", "categoría", "concepto", "cuenta"),
        ),
        ListColumn(
            "amount",
            _("Amount"),
            CellKind.MONEY,
            Decimal("64.20"),
            _("Tax included"),
            is_required=True,
            words=("total", "cost", "importe", "monto", "total pagado"),
            parameters=("amount_cents",),
        ),
        ListColumn(
            "tax",
            _("Tax you get back"),
            CellKind.MONEY,
            hint=_("What is in the amount of it; empty for none"),
            words=("tax", "vat", "impuesto", "iva"),
            parameters=("tax_cents",),
        ),
        ListColumn(
            "paid_by",
            _("Paid by"),
            CellKind.CHOICE,
            PaidBy.TRANSFER.label,
            is_required=True,
            choices=PaidBy,
            words=("payment method", "method", "forma de pago", "pagado con"),
        ),
        ListColumn(
            "season",
            _("For the honey of season"),
            CellKind.WHOLE,
            words=("season", "temporada", "cosecha"),
        ),
        _text("note", _("Note"), length_max=300, words=("notes", "memo", "description", "nota")),
    ),
    ("billing.manage_purchases",),
)

PAST_SALES = ListKind(
    ImportKind.PAST_SALES,
    _("What was sold before your books began: figures for plans and reports, no invoices"),
    (
        ListColumn(
            "day",
            _("Day"),
            CellKind.DAY,
            DaysAgo(400),
            _("Before the first sale in your books in that channel"),
            is_required=True,
            words=("date", "sold on", "sale date", "fecha", "día", "fecha de venta"),
        ),
        ListColumn(
            "product",
            _("Product"),
            CellKind.PRODUCT,
            _("One pound"),
            _("Empty for honey in bulk"),
            words=("item", "name", "gtin", "producto", "artículo"),
        ),
        ListColumn(
            "pieces",
            _("Pieces"),
            CellKind.WHOLE,
            24,
            _("Of a product that is counted in pieces"),
            words=("quantity", "qty", "count", "units", "piezas", "cantidad", "unidades"),
        ),
        ListColumn(
            "grams",
            _("Weight"),
            CellKind.WEIGHT,
            hint=_("With its unit, of honey in bulk and of what is sold by weight"),
            words=("weight", "net weight", "peso", "peso neto"),
        ),
        ListColumn(
            "amount",
            _("Amount"),
            CellKind.MONEY,
            Decimal("228.00"),
            _("Without tax"),
            is_required=True,
            words=("total", "sales", "net amount", "revenue", "importe", "monto", "venta"),
            parameters=("amount_cents",),
        ),
        ListColumn(
            "channel",
            _("Channel"),
            CellKind.CHOICE,
            Order.Channel.STAND.label,
            _("The stand where it is empty, a shop where there is a customer"),
            choices=Order.Channel,
            words=("sold at", "canal"),
        ),
        ListColumn(
            "customer",
            _("Customer"),
            CellKind.CUSTOMER,
            words=("client", "buyer", "cliente", "comprador"),
        ),
    ),
    ("billing.view_money",),
    rows_max=PAST_SALES_MAX,
)

# In the order in which a house brings them in: what later ones name comes first.
ALL = (CUSTOMERS, PRODUCTS, PRICES, JARS, HONEY, PARTS, PAST_SALES, EXPENSES)
BY_KIND: Mapping[str, ListKind] = {str(each.kind.value): each for each in ALL}
