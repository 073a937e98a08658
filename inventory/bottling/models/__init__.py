"""What is stored about sizes, products, packaging parts, bottling runs and fill checks."""

from .forms_of_honey import CombCut, Creaming, RunComb
from .goods import GoodsMade, GoodsReceipt
from .jar_page import JarPage
from .jars import ChangedPieces, JarChange, ReturnedJars
from .labels import LabelSheet
from .packaging import PackagingPart, PartReceipt, Size, SizePart, UsedPart
from .products import BoxContent, Brand, Product, ProductPart, Variety, parts_of_products
from .runs import BottlingRun, FillCheck, FillWeight, RunCorrection

__all__ = [
    "BottlingRun",
    "BoxContent",
    "Brand",
    "ChangedPieces",
    "CombCut",
    "Creaming",
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
    "ReturnedJars",
    "RunComb",
    "RunCorrection",
    "Size",
    "SizePart",
    "UsedPart",
    "Variety",
    "parts_of_products",
]
