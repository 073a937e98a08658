"""What is asked of a plan: the books and the figures of a person, made into one programme."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from apiary_sales.planning import programme
from apiary_sales.planning.programme import Answer, PlannedBuyer, Programme, Remainder
from apiary_sales.planning.rules import figures as rules
from apiary_sales.planning.rules.books import Books, Offer, PartState, ProductState, VesselState
from apiary_sales.planning.rules.figures import Figures, Selling

# Nobody waits longer for one search than this.
SECONDS = 4.5
# So much of them is for the search, and the rest to take tanks first.
SEARCH_SHARE = 0.85


@dataclass(frozen=True)
class Question:
    """The books and the figures a person left, made into one programme.

    `jars` and `drums` say what a piece of an offer brings, and a pound of a vessel in drums.
    """

    books: Books
    figures: Figures
    jars: Mapping[str, Selling]
    drums: Mapping[str, Selling]
    # All that each buyer takes, and what is left of it once the jars that are ready are sold.
    buyers: tuple[PlannedBuyer, ...]
    remainder: Remainder
    programme: Programme

    @classmethod
    def of(cls, books: Books, figures: Figures) -> "Question":
        jars, drums = rules.jar_sellings(books, figures), rules.drum_sellings(books, figures)
        buyers = rules.buyers_of(books, figures, jars)
        remainder = programme.less_on_hand(buyers, books.ready)
        planned_for = rules.programme_of(books, figures, remainder.buyers, drums)
        return cls(books, figures, jars, drums, buyers, remainder, planned_for)

    @property
    def vessel_of(self) -> dict[str, VesselState]:
        return {vessel.key: vessel for vessel in self.books.vessels}

    @property
    def pool_of(self) -> dict[str, list[VesselState]]:
        """The vessels that a plan takes together, by the key of their pool."""
        vessel_of = self.vessel_of
        return {
            pool.key: [vessel_of[vessel.key] for vessel in pool.vessels]
            for pool in programme.pools_of(self.programme)
        }

    @property
    def product_of(self) -> dict[str, ProductState]:
        return {row.key: row for row in self.books.products}

    @property
    def part_of(self) -> dict[str, PartState]:
        return {row.key: row for row in self.books.parts}

    @property
    def offer_of(self) -> dict[str, Offer]:
        return {offer.key: offer for offer in self.books.offers}

    def best(self, seconds: float = SECONDS) -> Answer:
        """Return the plan that earns most; out of tanks before drums, where that is the same."""
        found = programme.solve(self.programme, seconds=seconds * SEARCH_SHARE)
        return programme.in_order(found, seconds=seconds * (1 - SEARCH_SHARE))

    def all_in_drums(self) -> Answer:
        """Return the plan that bottles nothing."""
        plan = programme.all_in_drums(self.programme)
        return Answer(plan, True, plan.cents)

    def as_before(self, seconds: float = SECONDS) -> Answer | None:
        """Return the best plan that sells what was sold last, as far as it is wanted now.

        The jars that are ready are sold among them, and not filled again. None when honey, parts
        or hours do not allow it.
        """
        before = self.books.sold_last
        buyers = tuple(
            replace(buyer, pieces_max=min(before.get(buyer.key, 0), self.figures.pieces[buyer.key]))
            for buyer in self.buyers
        )
        remainder = programme.less_on_hand(buyers, self.books.ready)
        sales = {buyer.key: buyer.pieces_max or 0 for buyer in remainder.buyers}
        # What was sold was sold, in however small runs.
        as_small = replace(self.programme, least_pieces=0)
        return programme.solve_with_sales(as_small, sales, seconds=seconds)
