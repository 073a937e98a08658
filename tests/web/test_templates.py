"""Templates can be read and compared line by line."""

from pathlib import Path

from django.conf import settings

LINE_MAX = 160


def test_no_line_of_a_template_is_longer_than_a_reader_sees():
    folder = Path(settings.BASE_DIR) / "templates"

    too_long = [
        f"{path.relative_to(settings.BASE_DIR)}:{number}: {len(line)} characters"
        for path in sorted(folder.rglob("*.*"))
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if len(line) > LINE_MAX
    ]

    assert too_long == []
