"""numpy and pint, each imported when one of its names is first used.

Nearly every module of the service imports one of this package, and few requests need its
arithmetic: so the service starts without waiting for either. Annotations that name them are not
evaluated (`from __future__ import annotations`).
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

__all__ = ["np", "pint"]

if TYPE_CHECKING:
    import numpy as np
    import pint
else:

    class LaterModule:
        """A module that is imported when one of its names is first used."""

        def __init__(self, name: str) -> None:
            self._name = name

        def __getattr__(self, attribute: str) -> Any:
            found = getattr(import_module(self._name), attribute)
            setattr(self, attribute, found)
            return found

    np, pint = LaterModule("numpy"), LaterModule("pint")
