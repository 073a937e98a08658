"""The small script of all pages, on bare pages: what it adds to what works without it."""

from urllib.parse import parse_qs, urlsplit

import pytest
from django.contrib.staticfiles import finders
from django.template.loader import render_to_string

ADDRESS = "http://honey.example"


@pytest.fixture
def show(chromium):
    """Return `show(html)`: a page with this body, our style and our scripts, without a server."""
    pages = []

    def open_page(html: str, answer=None, decimal_sign="."):
        page = chromium.new_page()
        pages.append(page)
        document = (
            f'<!doctype html><html lang="en" data-decimal-sign="{decimal_sign}"><title>x</title>'
            '<link rel="stylesheet" href="/static/web/app.css">'
            '<script src="/static/web/vendor/htmx/htmx.min.js" defer></script>'
            '<script src="/static/web/app.js" type="module"></script>'
            f"<body>{html}</body></html>"
        )
        page.route(f"{ADDRESS}/**", answer or (lambda route: route.fulfill(body="")))
        page.route(f"{ADDRESS}/static/**", _send_file)
        page.route(
            f"{ADDRESS}/",
            lambda route: route.fulfill(body=document, content_type="text/html; charset=utf-8"),
        )
        page.goto(f"{ADDRESS}/")
        page.locator("html.js").wait_for()
        return page

    yield open_page
    for page in pages:
        page.close()


def _send_file(route):
    name = urlsplit(route.request.url).path.removeprefix("/static/")
    route.fulfill(path=str(finders.find(name)))


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


@pytest.fixture
def depth():
    """A form with a depth, and the live line under it."""
    line = render_to_string("_conversion_line.html", {"url": "/convert/?tank=1"})
    return (
        '<form><input type="hidden" name="csrfmiddlewaretoken" value="secret">'
        f'<div><input name="depth" aria-label="Depth">{line}</div>'
        '<input name="celsius" value="30"></form>'
    )


def convert(route, text, status=200):
    """Answer with the line that the view writes for a text."""
    body = render_to_string("inventory/honey/_conversion.html", {"text": text})
    route.fulfill(body=body, status=status, content_type="text/html; charset=utf-8")


def test_the_line_under_a_quantity_follows_what_is_typed(show, depth):
    asked = []

    def answer(route):
        asked.append(parse_qs(urlsplit(route.request.url).query))
        convert(route, "= 1,284 lb at 17.4 %, 30 °C")

    page = show(depth, answer)

    page.get_by_label("Depth").fill("90")
    page.wait_for_selector(".conversion:not(:empty)")

    assert page.locator(".conversion").inner_text() == "= 1,284 lb at 17.4 %, 30 °C"
    # Moisture and temperature change the answer too, so the whole form is asked about.
    assert asked == [{"tank": ["1"], "depth": ["90"], "celsius": ["30"]}]


def test_the_line_under_a_quantity_never_takes_in_markup(show, depth):
    page = show(depth, lambda route: convert(route, "<img src=x> 3 lb"))

    page.get_by_label("Depth").fill("90")
    page.wait_for_selector(".conversion:not(:empty)")

    assert page.locator(".conversion").inner_text() == "<img src=x> 3 lb"
    assert page.locator("img").count() == 0


@pytest.mark.parametrize("lost", ["no signal", "error"])
def test_the_line_of_an_earlier_figure_goes_when_no_new_one_comes(show, depth, lost):
    def answer(route):
        if "depth=90" in route.request.url:
            convert(route, "= 3 lb")
        elif lost == "error":
            convert(route, "Something went wrong", status=500)
        else:
            route.abort()

    page = show(depth, answer)
    page.get_by_label("Depth").fill("90")
    page.wait_for_selector(".conversion:not(:empty)")

    page.get_by_label("Depth").fill("91")
    page.wait_for_selector(".conversion:empty", state="attached")

    assert page.get_by_label("Depth").input_value() == "91"


@pytest.mark.parametrize(
    ("decimal_sign", "kind", "typed", "shown"),
    [
        (".", "number", "1250.5", ""),
        (".", "number", "1,250", "= 1250"),
        (".", "number", "12.50", ""),
        (".", "number", "0,250", ""),
        (".", "number", "12 1/2", "= 12.5"),
        (",", "number", "1,250", "= 1,25"),
        (",", "number", "1.250", "= 1250"),
        (".", "weight", "1 lb 6.4 oz", "= 1.4 lb"),
        (".", "weight", "12", ""),
        (",", "weight", "2,5 kg", "= 5,512 lb"),
        (".", "weight", "2 gal", ""),
    ],
)
def test_a_figure_that_might_be_read_otherwise_is_shown_as_it_is_read(
    show, decimal_sign, kind, typed, shown
):
    page = show(
        '<form><div class="field"><div class="quantity">'
        f'<input name="figure" aria-label="Figure" data-typed="{kind}">'
        '<select name="unit"><option value="lb">lb</option></select></div></div></form>',
        decimal_sign=decimal_sign,
    )

    page.get_by_label("Figure").fill(typed)

    assert page.locator(".reading").inner_text() == shown


def test_a_field_that_does_not_ask_for_it_shows_no_reading(show):
    page = show('<form><input name="code" aria-label="Code"></form>')

    page.get_by_label("Code").fill("1,250")

    assert page.locator(".reading").count() == 0


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
        '<form method="post" action="/off/" data-confirm="Switch off Ben, so that '
        'this person can no longer sign in?"><button>Switch off</button></form>',
        answer,
    )
    page.on("dialog", decide)

    page.get_by_text("Switch off").click()
    page.wait_for_timeout(300)

    assert questions == ["Switch off Ben, so that this person can no longer sign in?"]
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
