"""What papers can be sent by e-mail: each app registers its own here, one call a paper.

An app says it in `ready()` of its `AppConfig`:

    mailable.register("quote", "orders.Order", title=_("Quote"), pdf=papers.quote, …)

A page shows what was sent, and a button for each paper, with `{% load emails %}{% emails_of thing
%}`. The words of a paper's e-mails are in `mailing/texts/`; one without a text of its own takes
those of `paper.txt`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.apps import apps
from django.db.models import Model, QuerySet
from django.utils.functional import Promise


def _no_details(given: Mapping[str, Any]) -> dict[str, str]:
    return {}


def _nothing_beside(thing: Any) -> dict[str, bytes]:
    return {}


@dataclass(frozen=True)
class MailablePaper:
    """A paper that can be sent; `name` stands for it in addresses.

    `pdf` makes its PDF of the thing and the details, `beside` the XML files that go with it, by
    their names; `number` is how the thing is called on it,
    `customer` who gets it (or None), `page` the address of the thing's page, `language` the one it
    is written in where the thing itself says so. `details` reads what else the paper needs, such
    as the days of a statement, from an address or a body. `figures` are the words that a text may
    use for it, besides those that every text may use, and `figure_names` their names.
    `address_note` is what is said about the address that somebody types for it.
    `seen_by` are the things of which a person may send it. Who lacks the permission `own_words`,
    where one is named, sends the words of the house alone.
    """

    name: str
    model: str
    title: str | Promise
    permission: str
    pdf: Callable[[Any, dict[str, str]], bytes]
    number: Callable[[Any], str]
    customer: Callable[[Any], Any]
    page: Callable[[Any], str]
    beside: Callable[[Any], dict[str, bytes]] = field(default=_nothing_beside)
    is_for: Callable[[Any], bool] = field(default=lambda thing: True)
    language: Callable[[Any], str] = field(default=lambda thing: "")
    details: Callable[[Mapping[str, Any]], dict[str, str]] = field(default=_no_details)
    figures: Callable[[Any], dict[str, str]] = field(default=lambda thing: {})
    figure_names: tuple[str, ...] = ()
    address_note: str | Promise = ""
    seen_by: Callable[[Any], QuerySet[Any]] | None = None
    own_words: str = ""

    @property
    def model_class(self) -> type[Model]:
        return apps.get_model(self.model)

    def may_send(self, user: Any) -> bool:
        return bool(user.has_perm(self.permission))

    def things_for(self, user: Any) -> QuerySet[Any]:
        """Return the things of which a person may send this paper."""
        return self.seen_by(user) if self.seen_by else self.model_class._default_manager.all()

    def may_word(self, user: Any) -> bool:
        """Tell whether a person may write other words than those of the house."""
        return not self.own_words or bool(user.has_perm(self.own_words))


_registered: dict[str, MailablePaper] = {}


def register(name: str, model: str, **facts: Any) -> None:
    """Let a paper of a model, given as "app.Model", be sent by e-mail; see `MailablePaper`."""
    _registered[name] = MailablePaper(name=name, model=model, **facts)


def all_papers() -> list[MailablePaper]:
    return list(_registered.values())


def by_name(name: str) -> MailablePaper | None:
    return _registered.get(name)


def papers_of(thing: Model) -> list[MailablePaper]:
    """Return the papers that there are of a thing as it is now."""
    label = thing._meta.label
    return [each for each in _registered.values() if each.model == label and each.is_for(thing)]
