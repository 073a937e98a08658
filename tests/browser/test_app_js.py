"""The small script of all pages, on bare pages: what it adds to what works without it."""

from pathlib import Path

import pytest
from django.conf import settings

STATIC = Path(settings.BASE_DIR) / "apiary_sales" / "web" / "static" / "web"
ADDRESS = "http://honey.example"


@pytest.fixture
def show(chromium):
    """Return `show(html)`: a page with this body, our style and our script, without a server."""
    pages = []

    def open_page(html: str, answer=None):
        page = chromium.new_page()
        pages.append(page)
        document = f"<!doctype html><html lang=en><title>x</title><body>{html}</body></html>"
        page.route(f"{ADDRESS}/**", answer or (lambda route: route.fulfill(body="")))
        page.route(
            f"{ADDRESS}/",
            lambda route: route.fulfill(body=document, content_type="text/html; charset=utf-8"),
        )
        page.goto(f"{ADDRESS}/")
        page.add_style_tag(path=STATIC / "app.css")
        page.add_script_tag(path=STATIC / "app.js")
        return page

    yield open_page
    for page in pages:
        page.close()


STEPPER = (
    '<form><span class="stepper"><button type="button" data-step="-1">−</button>'
    '<input type="number" name="jars" value="1" min="0" max="2">'
    '<button type="button" data-step="1">+</button></span></form>'
)


def test_plus_and_minus_stop_at_the_ends(show):
    page = show(STEPPER)
    plus, minus = page.get_by_text("+"), page.get_by_text("−")
    number = page.locator("input")

    plus.click(click_count=3)
    at_most = number.input_value()
    minus.click(click_count=5)
    at_least = number.input_value()

    assert (at_most, at_least) == ("2", "0")


def test_the_error_summary_takes_the_focus_and_leads_into_the_field(show):
    page = show(
        '<div class="error-summary" tabindex="-1"><a href="#field-paid">Paid by: choose</a></div>'
        '<div id="field-paid"><input type="radio" name="paid" value="cash"></div>'
    )
    focused = "document.activeElement.className || document.activeElement.name"

    first = page.evaluate(focused)
    page.get_by_text("Paid by: choose").click()

    assert first == "error-summary"
    assert page.evaluate(focused) == "paid"


def test_the_line_under_a_quantity_follows_what_is_typed(show):
    asked = []

    def answer(route):
        asked.append(route.request.url)
        route.fulfill(
            body="<b>= 1,284 lb</b>\n at 17.4 %, 30 °C", content_type="text/html; charset=utf-8"
        )

    page = show(
        '<form><input type="hidden" name="csrfmiddlewaretoken" value="secret">'
        '<div class="field" data-convert-url="/convert/?tank=1">'
        '<input name="depth" aria-label="Depth"><p class="conversion"></p></div>'
        '<input name="celsius" value="30"></form>',
        answer,
    )

    page.get_by_label("Depth").fill("90")
    page.wait_for_function("document.querySelector('.conversion').textContent !== ''")

    assert page.locator(".conversion").inner_text() == "= 1,284 lb at 17.4 %, 30 °C"
    assert asked == [f"{ADDRESS}/convert/?tank=1&depth=90&celsius=30"]


def test_the_line_under_a_quantity_never_takes_in_markup(show):
    page = show(
        '<form><div class="field" data-convert-url="/convert/">'
        '<input name="depth" aria-label="Depth"></div></form>',
        lambda route: route.fulfill(
            body="&lt;img src=x&gt; 3 lb", content_type="text/html; charset=utf-8"
        ),
    )

    page.get_by_label("Depth").fill("90")
    page.wait_for_selector(".conversion:not(:empty)")

    assert page.locator(".conversion").inner_text() == "<img src=x> 3 lb"
    assert page.locator("img").count() == 0


def test_a_form_is_sent_once_however_often_it_is_pressed(show):
    sent = []

    def answer(route):
        sent.append(route.request.post_data)
        # No new page comes: the old one stays, and a second press would send again.
        route.fulfill(status=204, body="")

    page = show(
        '<form method="post" action="/sell/"><button name="pay" value="cash">Sell</button></form>',
        answer,
    )

    page.get_by_text("Sell").dblclick()
    page.get_by_text("Sell").click(force=True)
    page.wait_for_timeout(300)

    assert sent == ["pay=cash"]
    assert page.get_by_text("Sell").get_attribute("aria-disabled") == "true"


@pytest.mark.parametrize(("agreed", "times"), [(True, 1), (False, 0)])
def test_a_question_is_asked_before_what_cannot_be_taken_back(show, agreed, times):
    sent, questions = [], []

    def answer(route):
        sent.append(route.request.url)
        route.fulfill(status=204, body="")

    def decide(dialog):
        questions.append(dialog.message)
        dialog.accept() if agreed else dialog.dismiss()

    page = show(
        '<form method="post" action="/off/" data-confirm="Switch Ben off?">'
        "<button>Switch off</button></form>",
        answer,
    )
    page.on("dialog", decide)

    page.get_by_text("Switch off").click()
    page.wait_for_timeout(300)

    assert questions == ["Switch Ben off?"]
    assert len(sent) == times


def test_after_a_no_the_form_can_be_sent_again(show):
    answers, sent = [False, True], []

    def answer(route):
        sent.append(route.request.url)
        route.fulfill(status=204, body="")

    page = show(
        '<form method="post" action="/off/" data-confirm="Sure?"><button>Off</button></form>',
        answer,
    )
    page.on("dialog", lambda dialog: dialog.accept() if answers.pop(0) else dialog.dismiss())

    page.get_by_text("Off").click()
    page.get_by_text("Off").click()
    page.wait_for_timeout(300)

    assert len(sent) == 1


def test_a_filter_with_that_mark_is_sent_when_it_changes(show):
    page = show(
        '<form data-submit-on-change action="/list/"><select name="state" aria-label="State">'
        "<option>open</option><option>done</option></select></form>",
        lambda route: route.fulfill(body="the list"),
    )

    page.get_by_label("State").select_option("done")
    page.wait_for_url("**/list/?state=done")

    assert page.inner_text("body") == "the list"
