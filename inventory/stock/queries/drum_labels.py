"""What the labels of drums say."""

from collections.abc import Callable, Collection
from dataclasses import dataclass

from inventory.shared import lettering, printed_codes
from inventory.shared.printed_codes import PrintedCode
from inventory.stock.models import Place
from inventory.stock.queries.honey import VesselContents, in_hand

CODE_ROOM_MM = 95
MODULES_MM = (0.5, 0.33, 0.25)
BAR_MM = 18
NUMBER_ROOM_MM = 130
NUMBER_MM_MAX = 24
QR_MODULES_MM = (1.0,)


@dataclass(frozen=True)
class DrumLabel:
    """One drum with what is in it, and its two codes; `address` is that of its page, or empty."""

    vessel: VesselContents
    address: str

    @property
    def place(self) -> Place:
        return self.vessel.place

    @property
    def gross_grams(self) -> int | None:
        """Net and tare together; None while the tare is not known."""
        tare = self.place.tare_grams
        return None if tare is None else self.vessel.grams + tare

    @property
    def number_style(self) -> str:
        """Return the number as large as it fits in its line."""
        width_em = lettering.face(bold=True).width_em(self.place.code)
        return f"font-size:{min(NUMBER_MM_MAX, NUMBER_ROOM_MM / width_em):.2f}mm"

    @property
    def bar_code(self) -> PrintedCode:
        """Return the number as Code 128, with modules as wide as there is room for."""
        sizes = [
            printed_codes.code_128(self.place.code, module_mm=module_mm, bar_mm=BAR_MM)
            for module_mm in MODULES_MM
        ]
        return next((code for code in sizes if code.width_mm <= CODE_ROOM_MM), sizes[-1])

    @property
    def qr(self) -> PrintedCode | None:
        if not self.address:
            return None
        return printed_codes.qr(self.address, modules_mm=QR_MODULES_MM)[0]


def drums() -> list[VesselContents]:
    """Return the drums in use, each with what is in it."""
    return in_hand().drums


def labels(codes: Collection[str], *, address_of: Callable[[Place], str]) -> list[DrumLabel]:
    """Return the labels of these drums; of all that have honey where none is named."""
    return [
        DrumLabel(vessel, address_of(vessel.place))
        for vessel in drums()
        if (vessel.place.code in codes if codes else vessel.lot)
    ]
