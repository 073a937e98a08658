"""Say in plain words which browser somebody uses, by how it names itself."""

from django.utils.translation import gettext as _

# The first that is found counts: most browsers name others too.
BROWSERS = (
    ("Edg", "Edge"),
    ("OPR/", "Opera"),
    ("SamsungBrowser/", "Samsung Internet"),
    ("Firefox/", "Firefox"),
    ("FxiOS/", "Firefox"),
    ("CriOS/", "Chrome"),
    ("Chrome/", "Chrome"),
    ("Safari/", "Safari"),
)
SYSTEMS = (
    ("iPhone", "iPhone"),
    ("iPad", "iPad"),
    ("Android", "Android"),
    ("Windows", "Windows"),
    ("CrOS", "Chromebook"),
    ("Mac OS X", "Mac"),
    ("Linux", "Linux"),
)
# What a program calls itself, as far as it is shown.
PROGRAM_MAX = 40


def in_words(user_agent: str) -> str:
    """Return "Firefox on Windows", or as much of it as can be told; a program by its own name."""
    browser = next((name for mark, name in BROWSERS if mark in user_agent), "")
    system = next((name for mark, name in SYSTEMS if mark in user_agent), "")
    if browser and system:
        return _("%(browser)s on %(system)s") % {"browser": browser, "system": system}
    program = user_agent.partition(" ")[0][:PROGRAM_MAX]
    return browser or system or program or _("unknown browser")
