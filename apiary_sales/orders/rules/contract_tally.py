"""How much of a contract is handed over, called off and left."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from apiary_sales.orders.trade_models import Contract


@dataclass(frozen=True)
class ContractTally:
    """What became of the weight of a contract, in grams.

    `handed_over` is what left and did not come back; `called_off` is ordered and still here.
    """

    contract: "Contract"
    handed_over: int = 0
    called_off: int = 0

    @property
    def remaining(self) -> int:
        """What is left to call off; below zero where more was called off than agreed."""
        return self.contract.max_grams - self.handed_over - self.called_off

    @property
    def can_still_call_off(self) -> int:
        return max(self.remaining, 0)

    @property
    def beyond(self) -> int:
        """What was called off beyond the most that was agreed."""
        return max(-self.remaining, 0)

    @property
    def left_of_least(self) -> int:
        """What the buyer must still take to reach the least that was agreed."""
        return max(self.contract.min_grams - self.handed_over - self.called_off, 0)
