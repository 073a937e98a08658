"""`manage.py serve` sends what waits, and by default into files."""

import time

from tests import serving

# What an office does in a house of its own, in a process of its own.
WRITE = """
from apiary_sales.accounts.services import people
from apiary_sales.customers.services import customers
from apiary_sales.mailing.services import emails
from inventory.shared import mailable
from inventory.shared.services import house

house.change(name="Hollow Oak", email="office@hollow-oak.example")
person = people.add(username="ines", name="Ines", password="a long one of ines", role="office")
shop = customers.add(name="Corner Grocery", email="ada@corner.example")
emails.send(
    paper=mailable.by_name("statement"),
    thing=shop,
    details={"since": "2026-01-01", "until": "2026-09-10"},
    to=shop.email,
    subject="Your statement",
    body="It is attached.",
    sent_by=person,
    key="one",
)
"""


def test_the_service_writes_a_waiting_e_mail_into_a_file(tmp_path, django_db_setup, empty_database):
    data = tmp_path / "data"
    serving.copy_database(empty_database, data / "honey.sqlite3")
    written = serving.manage(data, "shell", "-v", "0", "-c", WRITE, DEBUG="true")
    assert written.returncode == 0, written.stderr

    with serving.service(data):
        for _turn in range(200):
            if files := list(data.glob("e-mails/*")):
                break
            time.sleep(0.05)

    [file] = files
    text = file.read_text()
    assert "Subject: Your statement\n" in text
    assert "To: ada@corner.example\n" in text
    assert 'filename="Statement Corner Grocery.pdf"' in text
    assert file.stat().st_mode & 0o077 == 0
