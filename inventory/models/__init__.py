"""What the honey house stores about honey, places, packaging and its stock ledger."""

from .bottling import BottlingRun, FillCheck, FillWeight
from .ledger import Balance, Counter, Item, Place, Posting, PostingLine
from .lots import Lot, LotParent
from .packaging import ContainerPart, ContainerSize, PackagingPart, PartReceipt
from .settings import ProductionSettings
from .vessels import CalibrationPoint, DipReading, TankShape

__all__ = [
    "Balance",
    "BottlingRun",
    "CalibrationPoint",
    "ContainerPart",
    "ContainerSize",
    "Counter",
    "DipReading",
    "FillCheck",
    "FillWeight",
    "Item",
    "Lot",
    "LotParent",
    "PackagingPart",
    "PartReceipt",
    "Place",
    "Posting",
    "PostingLine",
    "ProductionSettings",
    "TankShape",
]
