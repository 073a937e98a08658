"""Help: a page for each task, how each number is made, the words, and cards to print."""

from apiary_sales.web.help.book import HelpPage, pages

__all__ = ["HelpPage", "pages"]
