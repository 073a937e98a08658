"""Container sizes for display: their label, their parts and whether the honey fits."""

from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from inventory.bottling import filling
from inventory.bottling.models import ContainerPart, ContainerSize
from inventory.bottling.queries import bottling, parts
from inventory.physics import labelling
from inventory.stock.models import Lot


@dataclass(frozen=True)
class SizeLook:
    """One size with what its label must say and what its parts cost."""

    container: ContainerSize
    uses: list[ContainerPart]
    statement: str
    metric: str
    figure_height_mm: int | None
    parts_cents_each: Fraction | None

    @property
    def parts_price(self) -> Decimal | None:
        """What the parts of one piece cost, in units of currency, to four places."""
        if self.parts_cents_each is None:
            return None
        return parts.decimal_of(Fraction(self.parts_cents_each) / 100, "0.0001")

    @property
    def declared(self) -> str:
        return filling.declared(self.container)

    @property
    def brimful(self) -> str:
        return filling.volume(self.container.brimful_ml)


def all_sizes() -> list[SizeLook]:
    """Return every size, those in use first; in a constant number of queries."""
    containers = ContainerSize.objects.prefetch_related("container_parts__part").order_by(
        "-is_active", "brimful_ml", "name"
    )
    costs = parts.average_costs()
    return [_look(container, costs) for container in containers]


def look_at(container: ContainerSize) -> SizeLook:
    """Return one size as the list shows it."""
    return _look(container, parts.average_costs())


def fits_now(container: ContainerSize) -> list[tuple[str, filling.Fit]]:
    """Tell for each lot of honey there, with its vessels, whether the weight fits when filled."""
    celsius = bottling.usual_celsius()
    vessels: dict[Lot, list[str]] = {}
    for balance in bottling.vessels_with_honey():
        vessels.setdefault(balance.lot, []).append(balance.place.name)
    return [
        (
            ", ".join(names),
            filling.fit(container, moisture_percent=lot.moisture_percent, celsius=celsius),
        )
        for lot, names in vessels.items()
    ]


def _look(container: ContainerSize, costs: dict[int, Fraction]) -> SizeLook:
    grams = container.declared_grams
    uses = list(container.container_parts.all())
    known = [costs.get(use.part_id) for use in uses]
    low, high = labelling.EUROPEAN_LABELLED_G.low, labelling.EUROPEAN_LABELLED_G.high
    return SizeLook(
        container=container,
        uses=uses,
        statement=labelling.net_contents_statement(grams),
        metric=labelling.net_contents_statement(grams, metric_only=True),
        figure_height_mm=(
            labelling.minimum_figure_height_mm(float(grams)) if low <= grams <= high else None
        ),
        parts_cents_each=(
            None
            if None in known
            else sum(
                cost * Fraction(use.quantity, use.per_pieces)
                for cost, use in zip(known, uses, strict=True)
            )
        ),
    )
