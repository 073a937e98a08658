"""Examples about honey in bulk: a dip, its density, and what is blended."""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Self

from django.urls import reverse

from apiary_sales.web.help.figures.example import Example, in_decimals
from inventory.physics import density as physics
from inventory.physics.vessels import UprightCylinder
from inventory.stock import blends, density
from inventory.stock.blends import BlendPart
from inventory.stock.models import DipReading, Lot, LotParent

WARM = Decimal(35)


def kg_per_litre(moisture_percent: Decimal, celsius: Decimal) -> Decimal:
    return Decimal(str(physics.density_kg_per_l(float(moisture_percent), float(celsius))))


@dataclass(frozen=True, kw_only=True)
class DipExample(Example):
    """A depth, the litres it means, their density, and how far the weight can be wrong."""

    place: str
    depth_mm: int
    litres: Decimal
    moisture_percent: Decimal
    celsius: Decimal
    density: Decimal
    grams: int
    stick_grams: int
    density_grams: int
    book_grams: int

    @property
    def uncertainty_grams(self) -> int:
        return self.stick_grams + self.density_grams

    @property
    def low_grams(self) -> int:
        return self.grams - self.uncertainty_grams

    @property
    def high_grams(self) -> int:
        return self.grams + self.uncertainty_grams

    @property
    def difference_grams(self) -> int:
        return self.grams - self.book_grams

    @classmethod
    def from_the_house(cls) -> Self | None:
        reading = DipReading.objects.select_related("place").first()
        if reading is None:
            return None
        return cls(
            place=str(reading.place),
            depth_mm=reading.depth_mm,
            litres=reading.litres,
            moisture_percent=reading.moisture_percent,
            celsius=reading.celsius,
            density=kg_per_litre(reading.moisture_percent, reading.celsius),
            grams=reading.grams,
            stick_grams=reading.stick_grams or 0,
            density_grams=reading.density_grams,
            book_grams=reading.book_grams,
            url=reverse("inventory:dip_detail", args=[reading.pk]),
        )

    @classmethod
    def invented(cls) -> Self:
        # A flat tank of 60 cm, dipped to 50 cm with a stick marked every 5 mm.
        tank = UprightCylinder(diameter_cm=60, wall_cm=90)
        moisture, celsius = Decimal("17.4"), Decimal(30)
        weighed = density.grams_of(
            Decimal(str(tank.volume_l(50.0))),
            moisture_percent=moisture,
            celsius=celsius,
            stick_litres=Decimal(str(tank.volume_l(50.25))) - Decimal(str(tank.volume_l(50.0))),
        )
        return cls(
            place="T1",
            depth_mm=500,
            litres=weighed.litres,
            moisture_percent=moisture,
            celsius=celsius,
            density=kg_per_litre(moisture, celsius),
            grams=weighed.grams,
            stick_grams=weighed.stick_grams,
            density_grams=weighed.uncertainty_grams - weighed.stick_grams,
            book_grams=198_000,
            is_invented=True,
        )


@dataclass(frozen=True, kw_only=True)
class DensityExample(Example):
    """The density of one honey, at the reference temperature and warm."""

    lot: str
    moisture_percent: Decimal
    warm_celsius: Decimal = WARM

    @property
    def specific_gravity(self) -> Decimal:
        return self.density / Decimal(str(physics.WATER_KG_PER_L))

    @property
    def density(self) -> Decimal:
        return kg_per_litre(self.moisture_percent, density.REFERENCE_CELSIUS)

    @property
    def warm_density(self) -> Decimal:
        return kg_per_litre(self.moisture_percent, self.warm_celsius)

    @property
    def warmer_by(self) -> Decimal:
        return self.warm_celsius - density.REFERENCE_CELSIUS

    @property
    def pounds_a_gallon(self) -> Decimal:
        return Decimal(str(physics.pounds_per_gallon(float(self.moisture_percent))))

    @property
    def warm_pounds_a_gallon(self) -> Decimal:
        figures = float(self.moisture_percent), float(self.warm_celsius)
        return Decimal(str(physics.pounds_per_gallon(*figures)))

    @property
    def uncertainty(self) -> Decimal:
        figure = physics.density_uncertainty_kg_per_l(float(self.moisture_percent))
        return Decimal(str(figure))

    @classmethod
    def from_the_house(cls) -> Self | None:
        lot = Lot.objects.filter(product=None, moisture_percent__isnull=False).last()
        if lot is None or lot.moisture_percent is None:
            return None
        return cls(
            lot=lot.code,
            moisture_percent=lot.moisture_percent,
            url=reverse("inventory:lot_detail", args=[lot.code]),
        )

    @classmethod
    def invented(cls) -> Self:
        return cls(lot="26-A01", moisture_percent=Decimal("17.4"), is_invented=True)


@dataclass(frozen=True)
class PouredPart:
    """One honey that went into a blend."""

    code: str
    part: BlendPart

    @property
    def moisture_grams(self) -> Decimal:
        return self.part.moisture_percent * self.part.grams / 100

    @property
    def kilograms(self) -> Decimal:
        return Decimal(self.part.grams) / 1000

    @property
    def colour_times_weight(self) -> Decimal:
        return (self.part.colour_mm or Decimal(0)) * self.kilograms


@dataclass(frozen=True, kw_only=True)
class BlendExample(Example):
    """The honeys of a blend, and what they are together."""

    lot: str
    poured: Sequence[PouredPart]

    @property
    def parts(self) -> list[BlendPart]:
        return [each.part for each in self.poured]

    @property
    def kilograms(self) -> Decimal:
        return sum((each.kilograms for each in self.poured), Decimal(0))

    @property
    def moisture_grams(self) -> Decimal:
        return sum((each.moisture_grams for each in self.poured), Decimal(0))

    @property
    def moisture_percent(self) -> Decimal:
        return in_decimals(blends.mean_moisture(self.parts))

    @property
    def colour_times_weight(self) -> Decimal:
        return sum((each.colour_times_weight for each in self.poured), Decimal(0))

    @property
    def colour_mm(self) -> Decimal | None:
        mean = blends.mean_colour(self.parts)
        return None if mean is None else in_decimals(mean)

    @classmethod
    def from_the_house(cls) -> Self | None:
        for lot in Lot.objects.filter(kind=Lot.Kind.BLEND, product=None).order_by("-pk")[:20]:
            links = LotParent.objects.filter(lot=lot, grams__gt=0).select_related("parent")
            poured = [
                PouredPart(
                    link.parent.code,
                    BlendPart(link.grams, link.parent.honey_moisture, link.parent.colour_mm),
                )
                for link in links.order_by("pk")
            ]
            if len(poured) > 1 and cls._can_show([each.part for each in poured]):
                url = reverse("inventory:lot_detail", args=[lot.code])
                return cls(lot=lot.code, poured=poured, url=url)
        return None

    @classmethod
    def _can_show(cls, parts: Sequence[BlendPart]) -> bool:
        return True

    @classmethod
    def invented(cls) -> Self:
        light = BlendPart(200_000, Decimal("17.0"), Decimal(40))
        dark = BlendPart(100_000, Decimal("18.5"), Decimal(85))
        poured = [PouredPart("26-A01", light), PouredPart("26-A02", dark)]
        return cls(lot="26-B01", poured=poured, is_invented=True)


class BlendMoistureExample(BlendExample):
    """The moisture of a blend."""


class BlendColourExample(BlendExample):
    """The colour of a blend, all of whose parts have one."""

    @classmethod
    def _can_show(cls, parts: Sequence[BlendPart]) -> bool:
        return all(part.colour_mm is not None for part in parts)
