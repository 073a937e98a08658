"""Contracts with a packer: which price counts, and whether a drum is what was agreed."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.utils.formats import date_format
from django.utils.translation import gettext as _

from apiary_sales.orders.rules.contract_tally import ContractTally
from apiary_sales.orders.trade_models import Contract, ContractPriceStep
from inventory.physics.grading import COLOUR_CLASSES
from inventory.shared import words
from inventory.stock.models import Lot, Place


@dataclass(frozen=True)
class PriceStep:
    """The price of a pound in a call-off of so many grams or more."""

    from_grams: int
    unit_price: Decimal


def price_of(steps: Iterable[ContractPriceStep], grams: int) -> Decimal:
    """Return the price a pound of a call-off of so many grams: that of the highest step reached."""
    reached = [step for step in steps if step.from_grams <= grams]
    return max(reached, key=lambda step: step.from_grams).unit_price


def beyond(tally: ContractTally, grams: int, on: date) -> list[str]:
    """Say what a call-off goes beyond: the weight of the contract, or its days."""
    contract, said = tally.contract, []
    if grams > tally.remaining:
        asked, left = words.weights_apart(grams, tally.can_still_call_off)
        said.append(
            _("This call-off has %(asked)s. Left of contract %(contract)s: %(left)s.")
            % {"asked": asked, "contract": contract.number, "left": left}
        )
    if not contract.starts_on <= on <= contract.ends_on:
        said.append(
            _("Contract %(contract)s is for %(starts)s to %(ends)s, not for %(day)s.")
            % {
                "contract": contract.number,
                "starts": date_format(contract.starts_on),
                "ends": date_format(contract.ends_on),
                "day": date_format(on),
            }
        )
    return said


def faults(contract: Contract, drum: Place, lot: Lot, approved: Iterable[int]) -> list[str]:
    """Say what a drum lacks of the quality that was agreed; empty where it has all of it.

    `approved` are the keys of the lots whose sample the buyer approved; without any, none is asked
    for. What was never measured is not taken for good.
    """
    figures = {"drum": drum.name, "lot": lot.code}
    said = []
    if contract.colour_class:
        wanted = words.colour(contract.colour_class)
        if not lot.colour_class:
            said.append(
                _("%(drum)s: the colour of lot %(lot)s was not measured. Agreed: %(wanted)s.")
                % {**figures, "wanted": wanted}
            )
        elif _darkness(lot.colour_class) > _darkness(contract.colour_class):
            said.append(
                _("%(drum)s is %(colour)s. Agreed: %(wanted)s or lighter.")
                % {**figures, "colour": words.colour(lot.colour_class), "wanted": wanted}
            )
    limit = contract.moisture_percent_max
    if limit is not None and (lot.moisture_percent is None or lot.moisture_percent > limit):
        if lot.moisture_percent is None:
            sentence = _(
                "%(drum)s: the moisture of lot %(lot)s was not measured. Agreed: up to "
                "%(limit)s %%."
            )
        else:
            sentence = _("%(drum)s has %(moisture)s %% moisture. Agreed: up to %(limit)s %%.")
            figures["moisture"] = words.number(lot.moisture_percent.normalize())
        said.append(sentence % {**figures, "limit": words.number(limit.normalize())})
    if contract.floral_source and not _is_mostly(lot.floral_source, contract.floral_source):
        said.append(
            _("%(drum)s is %(source)s. Agreed: %(wanted)s.")
            % {**figures, "source": lot.floral_source, "wanted": contract.floral_source}
        )
    approved = set(approved)
    if approved and lot.pk not in approved:
        said.append(_("%(drum)s: the buyer approved no sample of lot %(lot)s.") % figures)
    return said


def _darkness(colour_class: str) -> int:
    return list(COLOUR_CLASSES).index(colour_class)


def _is_mostly(sources: str, wanted: str) -> bool:
    """Tell whether the first source of a lot, of which it has most, is the one that was agreed."""
    first = sources.split(",")[0]
    return first.strip().casefold() == wanted.strip().casefold()
