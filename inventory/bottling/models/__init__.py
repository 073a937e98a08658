"""What is stored about sizes, products, packaging parts, bottling runs and fill checks."""

from .bottling_days import (
    BottlingDay,
    BottlingDayRow,
    EstimateSettlement,
    SettledRun,
    found_before_grams,
)
from .forms_of_honey import CombCut, Creaming, RunComb
from .goods import GoodsMade, GoodsReceipt
from .jar_page import JarPage
from .jars import ChangedPieces, JarChange, ReturnedJars
from .labels import LabelSheet
from .packaging import PackagingPart, PartReceipt, Size, SizePart, UsedPart
from .products import BoxContent, Brand, Product, ProductPart, Variety, parts_of_products
from .receipts import ReceiptCorrection
from .runs import BottlingRun, FillCheck, FillWeight, RunCorrection, RunDip

__all__ = [
    "BottlingDay",
    "BottlingDayRow",
    "BottlingRun",
    "BoxContent",
    "Brand",
    "ChangedPieces",
    "CombCut",
    "Creaming",
    "EstimateSettlement",
    "FillCheck",
    "FillWeight",
    "GoodsMade",
    "GoodsReceipt",
    "JarChange",
    "JarPage",
    "LabelSheet",
    "PackagingPart",
    "PartReceipt",
    "Product",
    "ProductPart",
    "ReceiptCorrection",
    "ReturnedJars",
    "RunComb",
    "RunCorrection",
    "RunDip",
    "SettledRun",
    "Size",
    "SizePart",
    "UsedPart",
    "Variety",
    "found_before_grams",
    "parts_of_products",
]
