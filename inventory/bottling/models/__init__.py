"""What is stored about sizes, packaging parts, bottling runs and fill checks."""

from .labels import LabelSheet
from .packaging import PackagingPart, PartReceipt, Size, SizePart
from .runs import BottlingRun, FillCheck, FillWeight

__all__ = [
    "BottlingRun",
    "FillCheck",
    "FillWeight",
    "LabelSheet",
    "PackagingPart",
    "PartReceipt",
    "Size",
    "SizePart",
]
