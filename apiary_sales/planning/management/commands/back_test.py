from argparse import ArgumentParser
from dataclasses import replace
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from apiary_sales.planning.queries import season_history
from apiary_sales.planning.season import comparison, simulate
from apiary_sales.planning.season.comparison import PolicyResult
from inventory.shared.weights import in_units, unit_word

SEEDS = 20
NAMES = {
    "season_plan": "season plan",
    "as_it_was": "what was done",
    "all_in_drums": "all in drums as it comes",
    "last_year": "as last year's month",
    "last_year_and_a_tenth": "last year and a tenth",
    "weeks_of_cover": "eight weeks of cover",
    "proportional": "half in drums, a twelfth a month",
    "with_hindsight": "(plan that knew it all)",
}


class Command(BaseCommand):
    help = "Carry out season plans of the past month by month, against what was done and rules."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--simulated",
            type=int,
            nargs="?",
            const=SEEDS,
            metavar="SEEDS",
            help="use so many invented houses in place of the books; it takes seconds for each",
        )
        parser.add_argument(
            "--known",
            type=int,
            default=comparison.BEGINS,
            metavar="MONTHS",
            help="months that are known before the first plan, 12 at least",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        known = options["known"]
        if known < 12:
            raise CommandError(
                "--known: give 12 months or more; a plan needs a year that is known."
            )
        if options["simulated"] is None:
            self._of_the_books(known)
            return
        seeds = options["simulated"]
        if seeds < 1:
            raise CommandError("--simulated: give 1 or more.")
        usual = simulate.Parameters()
        cases = {
            "plenty of honey": usual,
            "little honey": replace(usual, harvest_pounds=13_000),
            "few hours": replace(usual, hours=20),
        }
        for name, parameters in cases.items():
            worlds = (
                simulate.world(parameters, seed, years=known // 12 + 2) for seed in range(seeds)
            )
            self.stdout.write(
                f"\n{seeds} invented houses, {name}; {known} months known, two years counted."
            )
            self._table(comparison.compare(worlds, begins=known))

    def _of_the_books(self, known: int) -> None:
        past = season_history.read(timezone.localdate())
        if past is None:
            raise CommandError(
                "The books have no jars sold by the month and no price for honey in drums yet. "
                "Use --simulated for invented houses."
            )
        counted = past.world.months - known
        if counted < 1:
            raise CommandError(
                f"The books have {past.world.months} whole months of sales; {known} have to be "
                "known before the first plan. Give fewer with --known."
            )
        self.stdout.write(
            f"The books: {known} months known, {counted} counted. Demand is what was sold, so what "
            "was asked for in vain is not in it; prices and costs are those of today."
        )
        self._table(
            comparison.compare(
                [past.world],
                begins=known,
                warm_up=past.as_it_was,
                more={"as_it_was": past.as_it_was},
            )
        )

    def _table(self, rows: list[PolicyResult]) -> None:
        unit = unit_word()
        self.stdout.write(
            f"{'':32}{'earned':>12}{'± spread':>12}{'plan more':>12}{'± error':>10}"
            f"{'plan wins':>11}{'served':>8}{f'drums, {unit}':>13}"
        )
        for row in rows:
            drums = in_units(round(row.drum_grams))
            self.stdout.write(
                f"{NAMES[row.name]:32}{_money(row.mean_cents):>12}{_money(row.spread_cents):>12}"
                f"{_money(row.more_cents):>12}{_money(row.more_error):>10}"
                f"{f'{row.wins} of {len(row.outcomes)}':>11}{row.served:>8.1%}{drums:>13,.0f}"
            )


def _money(cents: float) -> str:
    return f"{cents / 100:,.0f}"
