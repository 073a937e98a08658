"""All models of the app, in one place for Django to find.

Code imports them from their rooms: `inventory.shared.models`, `inventory.stock.models` and
`inventory.bottling.models`.
"""

from inventory.bottling.models import (
    BottlingRun,
    BoxContent,
    Brand,
    FillCheck,
    FillWeight,
    JarPage,
    LabelSheet,
    PackagingPart,
    PartReceipt,
    Product,
    ProductPart,
    Size,
    SizePart,
    Variety,
)
from inventory.shared.models import Attachment, House
from inventory.stock.models import (
    Balance,
    CalibrationPoint,
    Counter,
    DipReading,
    Item,
    Lot,
    LotHold,
    LotParent,
    Measurement,
    Place,
    Posting,
    PostingLine,
    ProductionSettings,
    Supplier,
    TankShape,
)

__all__ = [
    "Attachment",
    "Balance",
    "BottlingRun",
    "BoxContent",
    "Brand",
    "CalibrationPoint",
    "Counter",
    "DipReading",
    "FillCheck",
    "FillWeight",
    "House",
    "Item",
    "JarPage",
    "LabelSheet",
    "Lot",
    "LotHold",
    "LotParent",
    "Measurement",
    "PackagingPart",
    "PartReceipt",
    "Place",
    "Posting",
    "PostingLine",
    "Product",
    "ProductPart",
    "ProductionSettings",
    "Size",
    "SizePart",
    "Supplier",
    "TankShape",
    "Variety",
]
