"""What is stored about sizes, packaging parts, bottling runs and fill checks."""

from .packaging import ContainerPart, ContainerSize, PackagingPart, PartReceipt
from .runs import BottlingRun, FillCheck, FillWeight

__all__ = [
    "BottlingRun",
    "ContainerPart",
    "ContainerSize",
    "FillCheck",
    "FillWeight",
    "PackagingPart",
    "PartReceipt",
]
