"""What is stored about sizes, packaging parts, bottling runs and fill checks."""

from .jar_page import JarPage
from .packaging import PackagingPart, PartReceipt, Size, SizePart
from .runs import BottlingRun, FillCheck, FillWeight

__all__ = [
    "BottlingRun",
    "FillCheck",
    "FillWeight",
    "JarPage",
    "PackagingPart",
    "PartReceipt",
    "Size",
    "SizePart",
]
