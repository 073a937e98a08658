"""What the tests of the stand page do and look at."""

import time

from inventory.stock.models import Balance

# How many rows of tiles have a tile whose middle can be tapped, and how many tiles: what is at the
# middle of a tile must be the tile itself.
TAPPABLE = """
() => {
  const free = [...document.querySelectorAll(".goods .product")].filter((tile) => {
    const { left, top, width, height } = tile.getBoundingClientRect();
    const spots = [[0.5, 0.5], [0.5, 0.1], [0.5, 0.9]];
    return spots.every(([x, y]) =>
      tile.contains(document.elementFromPoint(left + width * x, top + height * y)));
  });
  return new Set(free.map((tile) => Math.round(tile.getBoundingClientRect().top))).size;
}
"""
# Whether what has the focus can be seen whole, or as much of it as the window is high.
IN_SIGHT = """
() => {
  const place = document.activeElement;
  const { left, top, width, height } = place.getBoundingClientRect();
  const end = Math.min(height, innerHeight) - 2;
  const seen = [2, end].every((down) => {
    const there = document.elementFromPoint(left + width / 2, top + down);
    return there && (place.contains(there) || there.contains(place));
  });
  return seen ? "" : `${place.outerHTML.slice(0, 120)} at ${Math.round(top)}`;
}
"""


def tap(page, name):
    page.get_by_role("button", name=name, exact=False).first.tap()


def sees(page, text, **more):
    """Wait until a text is on the screen."""
    page.get_by_text(text, **more).filter(visible=True).first.wait_for()


def sees_no(page, text):
    """Wait until a text is gone from the screen."""
    page.get_by_text(text).filter(visible=True).wait_for(state="hidden")


def at(place, product):
    return Balance.objects.get(place__code=place, item=product.item).quantity


def wait_until(is_so):
    """Wait until the books are as they should be."""
    for _turn in range(150):
        if is_so():
            return
        time.sleep(0.1)
    assert is_so()


def tile(page, code):
    return page.locator(f"[data-product={code}]")


def stock_says(page, code, text):
    """Wait until the tile of a product tells a stock."""
    page.locator(f"[data-product={code}] [data-part=stock]", has_text=text).wait_for()


def open_till(page):
    """Wait until the page can be used, and can be opened again without signal."""
    page.locator("[data-till]:not([hidden])").wait_for()
    wait_until(
        lambda: page.evaluate(
            """async () => {
                await navigator.serviceWorker.ready;
                return Boolean(await caches.match("/stand/"));
            }"""
        )
    )


def sell_one(page, *, name="One pound", way="Take"):
    """Sell one piece for the exact amount in cash."""
    for each in [name, "Pay", way]:
        tap(page, each)
    sees(page, "Sold", exact=True)


def go_to(page, place):
    page.locator("#till-place").select_option(place)


def open_sales(page):
    tap(page, "Sales")
    page.get_by_role("heading", name="Sales here").wait_for()


def open_newest_sale(page):
    open_sales(page)
    page.locator(".sales-list summary").first.click()
