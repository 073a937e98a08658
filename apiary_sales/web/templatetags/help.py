"""Links to help, and the words of the screens as they are in the reader's language."""

from django import template
from django.templatetags.static import static
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import get_language

from apiary_sales.web.help import book

register = template.Library()


@register.simple_tag
def screen(words: str) -> SafeString:
    """Return words of a screen as they are there in the language of the page.

    `words` are those of the translation file, so that help says what the screen says; the label of
    a field begins with a capital there, whatever its name begins with.
    """
    return format_html('<b class="screen-word">{}</b>', book.on_screen(words))


@register.inclusion_tag("help/_link.html")
def help_link(slug: str) -> dict[str, object]:
    """Return a small link to a help page."""
    return {"help_page": book.page(slug, book.known(get_language()))}


@register.simple_tag
def help_to(slug: str) -> SafeString:
    """Return a link with the title of a help page, for other help pages."""
    # The title alone is not read through `page`: two pages that name each other would not end.
    language = book.known(get_language())
    return format_html('<a href="{}">{}</a>', book.address(slug), book.title(slug, language))


@register.inclusion_tag("help/_picture.html")
def picture(name: str, caption: str) -> dict[str, str]:
    """Return a picture of a screen, taken from the demo by `.ci/pictures`."""
    language = book.known(get_language())
    return {"address": static(f"web/help/{language}/{name}.webp"), "caption": caption}
