"""A person who goes through the set-up in a browser without JavaScript, and counts the pages."""

from typing import Any

from lxml import html

from apiary_sales.accounts.services import first_owner

PASSWORD = "rosemary and thyme"


class Walker:
    """Sends each form as a browser does: what the page holds, with what is typed over it."""

    def __init__(self, client) -> None:
        self.client, self.pages, self.typed = client, 0, 0

    def open(self, address: str) -> "Walker":
        return self._came(self.client.get(address, follow=True))

    def _came(self, response) -> "Walker":
        assert response.status_code == 200, problems(response)
        self.pages += 1
        self.response = response
        self.address = response.request["PATH_INFO"]
        return self

    def values(self) -> dict[str, Any]:
        """Return what the form of the page holds now."""
        [form] = html.fromstring(self.response.text).xpath("//main//form[@method='post']")
        chosen = ("checkbox", "radio", "file", "submit")
        found: dict[str, Any] = {
            box.get("name"): "" for box in form.xpath(".//input[@name]") if box.type not in chosen
        }
        for name, value in form.form_values():
            if found.get(name):
                before = found[name]
                found[name] = [*(before if isinstance(before, list) else [before]), value]
            else:
                found[name] = value
        return found

    def send(self, button: str = "", **typed: Any) -> "Walker":
        """Type, press a button, and come to the next page; `__` in a name is a hyphen."""
        return self._came(self.post(button, **typed))

    def post(self, button: str = "", **typed: Any):
        values = self.values()
        names = {name.replace("__", "-"): value for name, value in typed.items()}
        unknown = {name for name in names if name not in values} - self.boxes()
        assert not unknown, f"{self.address} asks for no {unknown}"
        self.typed += len(names)
        sent = {**values, **names, **({button: "1"} if button else {})}
        return self.client.post(self.address, sent, follow=True)

    def boxes(self) -> set[str]:
        """Return the names of boxes and choices, which are sent only where they are chosen."""
        found = html.fromstring(self.response.text)
        names = found.xpath("//main//input[@type='checkbox' or @type='radio']/@name")
        return {*names, *found.xpath("//main//input[@type='file']/@name")}

    def row_of(self, title: str) -> str:
        """Return the prefix of the row that has this head, with `__` for its hyphen."""
        found = html.fromstring(self.response.text)
        for row in found.xpath("//main//tbody/tr"):
            if row.xpath("normalize-space(th)") == title:
                name = row.xpath(".//input/@name | .//select/@name")[0]
                return "__".join(name.split("-")[:2])
        raise AssertionError(f"{self.address} has no row {title}")


def begin(client, username: str = "maria") -> Walker:
    """Make the owner with the code, and come to the first step."""
    code = first_owner.make_code()
    walker = Walker(client).open("/")
    assert walker.address == "/set-up/"
    return walker.send(
        code=code.lower(),
        name="Maria Olmo",
        username=username,
        password=PASSWORD,
        password_again=PASSWORD,
    )


def problems(response) -> str:
    found = html.fromstring(response.text).xpath("//*[@role='alert']//li")
    return f"{response.status_code} {[' '.join(each.text_content().split()) for each in found]}"
