"""How long a seller waits for "Sold": from the tap to the word, whatever the network does.

Run by name, apart from the tests, and read what it prints:

    python -m pytest -s tests/benchmarks/bench_sold.py

Each sale is taken on a phone in Chromium, and timed by the page itself. The sales of a network that
never answers are set against those of a quick one, in the same run; under 100 ms is what is meant.
"""

from statistics import median

import pytest

from tests.browser.conftest import chromium, pounds, price_of, sign_in, stand, till
from tests.browser.tills import tap, tile

__all__ = ["chromium", "pounds", "price_of", "sign_in", "stand", "till"]

TIMES = 15
FINISH = """() => new Promise((resolve) => {
    const began = performance.now();
    const isSaid = () => document.querySelector("[data-part=done-heading]").offsetParent !== null;
    const look = () => isSaid() ? resolve(performance.now() - began) : requestAnimationFrame(look);
    [...document.querySelectorAll("[data-act=finish]")].find((one) => one.offsetParent).click();
    look();
})"""


@pytest.mark.browser
def test_how_long_sold_takes(till):
    quick = [sell(till) for _ in range(TIMES)]
    till.context.route("**/stand/sales/", lambda route: None)

    hanging = [sell(till) for _ in range(TIMES)]

    print(f"\nquick network:   median {median(quick):.0f} ms, longest {max(quick):.0f} ms")
    print(f"no answer ever:  median {median(hanging):.0f} ms, longest {max(hanging):.0f} ms")
    print(f"ratio of the medians: {median(hanging) / median(quick):.2f}")


def sell(page) -> float:
    """Sell one jar for cash, and return the milliseconds from the last tap to the word."""
    tile(page, "one-pound").tap()
    tap(page, "Pay")
    page.locator("[data-act=finish]").filter(visible=True).first.wait_for()
    took = page.evaluate(FINISH)
    tap(page, "Next sale")
    return took
