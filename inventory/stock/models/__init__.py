"""What is stored about honey, goods and places: the ledger, lots, vessels, working figures."""

from .blend_plans import BlendPlan, BlendPlanLine
from .cleaning import Cleaning, CleaningTask
from .corrections import LotCorrection, Shortage
from .counting import CountLine, CountSheet
from .holds import LotHold
from .ledger import AverageClosing, Balance, Counter, Item, Place, Posting, PostingLine
from .lot_costs import LotCost
from .lots import Lot, LotParent
from .measurements import Measurement, VesselTemperature
from .seals import Seal
from .settings import ProductionSettings
from .suppliers import Supplier
from .vessels import CalibrationPoint, DipReading, TankShape
from .warmings import Warming

__all__ = [
    "AverageClosing",
    "Balance",
    "BlendPlan",
    "BlendPlanLine",
    "CalibrationPoint",
    "Cleaning",
    "CleaningTask",
    "CountLine",
    "CountSheet",
    "Counter",
    "DipReading",
    "Item",
    "Lot",
    "LotCorrection",
    "LotCost",
    "LotHold",
    "LotParent",
    "Measurement",
    "Place",
    "Posting",
    "PostingLine",
    "ProductionSettings",
    "Seal",
    "Shortage",
    "Supplier",
    "TankShape",
    "VesselTemperature",
    "Warming",
]
