"""Several people at once, on a real PostgreSQL: the last drum, the same form, crossing moves."""

import random

import pytest

from inventory.shared.errors import AlreadyRecorded, HouseError
from inventory.stock.models import Balance, Place, Posting
from inventory.stock.queries import books
from inventory.stock.services import drums, honey, ledger, stores
from tests import builders
from tests.rivals import together

pytestmark = [pytest.mark.postgresql, pytest.mark.django_db(transaction=True)]


def test_of_two_people_who_take_the_last_drum_one_gets_it():
    person = builders.person()
    tank, drum = builders.place("tank"), builders.place("drum", Place.Kind.DRUM, tare_grams=0)
    lot = builders.lot_in(tank, 300_000)
    drums.fill(tank=tank, drum=drum, gross_grams=300_000, recorded_by=person, key="fill")
    promised = ledger.ReservedStock(Balance.objects.in_vessel(drum).item, drum, lot, 300_000)

    outcomes = together(lambda: ledger.reserve([promised]), lambda: ledger.reserve([promised]))

    refused = [outcome for outcome in outcomes if isinstance(outcome, HouseError)]
    assert [error.code for error in refused] == ["not_enough_stock"]
    assert Balance.objects.get(place=drum).reserved == 300_000


def test_the_same_form_sent_twice_at_once_counts_once():
    person = builders.person()
    tank = builders.place("tank")
    builders.lot_in(tank, 100_000)

    def give():
        return honey.write_off(
            place=tank, grams=10_000, reason="gift", recorded_by=person, key="one-form"
        )

    outcomes = together(give, give, give)

    assert sum(isinstance(outcome, AlreadyRecorded) for outcome in outcomes) == 2
    assert Balance.objects.in_vessel(tank).quantity == 90_000
    assert Posting.objects.filter(kind="gift").count() == 1


def test_two_lots_poured_into_one_tank_at_once_become_one_blend():
    person = builders.person()
    tank, first, second = (builders.place(code) for code in ("tank", "first", "second"))
    builders.lot_in(first, 50_000)
    builders.lot_in(second, 70_000, floral_source="Aster")

    def pour(source, grams):
        return lambda: honey.transfer(
            source=source, target=tank, grams=grams, recorded_by=person, key=builders.new_key()
        )

    together(pour(first, 50_000), pour(second, 70_000))

    assert Balance.objects.in_vessel(tank).quantity == 120_000
    assert Balance.objects.in_vessel(tank).lot.floral_source in ("Clover, Aster", "Aster, Clover")
    assert list(books.faults()) == []


def test_many_writers_crossing_each_other_neither_deadlock_nor_lose_a_piece():
    person = builders.person()
    shelf = builders.place("shelf", Place.Kind.SHELF)
    stand = builders.place("stand", Place.Kind.STAND)
    products = [builders.product(name) for name in ("Half pound", "One pound", "Two pound")]
    lots = [builders.packed_lot(product, shelf, 200) for product in products]

    def worker(seed):
        chance = random.Random(seed)

        def work():
            refused = 0
            for step in range(40):
                index = chance.randrange(3)
                source, target = chance.sample([shelf, stand], 2)
                try:
                    stores.transfer(
                        item=products[index].item,
                        lot=lots[index],
                        source=source,
                        target=target,
                        pieces=chance.randint(1, 60),
                        recorded_by=person,
                        key=f"{seed}-{step}",
                    )
                except HouseError:
                    refused += 1
            return refused

        return work

    outcomes = together(*(worker(seed) for seed in range(4)))

    assert all(isinstance(refused, int) for refused in outcomes)
    assert Posting.objects.filter(kind="transfer").count() == 160 - sum(outcomes)
    for product in products:
        held = Balance.objects.filter(item=product.item, is_physical=True)
        assert sum(balance.quantity for balance in held) == 200
    assert list(books.faults()) == []
