"""All models of the app, in one place for Django to find.

Code imports them from their rooms: `inventory.shared.models`, `inventory.stock.models` and
`inventory.bottling.models`.
"""

from inventory.bottling.models import (
    BottlingRun,
    FillCheck,
    FillWeight,
    PackagingPart,
    PartReceipt,
    Size,
    SizePart,
)
from inventory.shared.models import House
from inventory.stock.models import (
    Balance,
    CalibrationPoint,
    Counter,
    DipReading,
    Item,
    Lot,
    LotParent,
    Place,
    Posting,
    PostingLine,
    ProductionSettings,
    Supplier,
    TankShape,
)

__all__ = [
    "Balance",
    "BottlingRun",
    "CalibrationPoint",
    "Counter",
    "DipReading",
    "FillCheck",
    "FillWeight",
    "House",
    "Item",
    "Lot",
    "LotParent",
    "PackagingPart",
    "PartReceipt",
    "Place",
    "Posting",
    "PostingLine",
    "ProductionSettings",
    "Size",
    "SizePart",
    "Supplier",
    "TankShape",
]
