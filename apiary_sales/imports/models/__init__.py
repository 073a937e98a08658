"""Lists that were brought in: the import, its rows while they wait, and past sales."""

from .imports import Import, ImportKind, ImportRow
from .past_sales import PastSale

__all__ = ["Import", "ImportKind", "ImportRow", "PastSale"]
