"""What an export of the house is: one zip file, and what each name in it means.

- `manifest.json`: version, moment, rows and SHA-256 of every file, and what the books add up to
- `README.txt`: what each table and column is, in plain words
- `tables/APP/TABLE.csv`: a table each, UTF-8, with a comma between cells
- `files/NAME`: attached files and the logo, under the names that the tables have
- `contents/APP/TABLE/KEY.pdf`: what a table keeps as bytes, such as papers that were sent
"""

import re
from collections.abc import Mapping
from types import MappingProxyType

from django.db import models

from apiary_sales.keeping.tables import StoredColumn, StoredTable, all_tables

FORMAT = "honey house export"
# Raise it when another program could no longer read what this one writes.
FORMAT_VERSION = 1

MANIFEST = "manifest.json"
README = "README.txt"
FILES = "files/"

# Why a table is not in an export.
TABLES_LEFT_OUT: Mapping[str, str] = MappingProxyType(
    {
        "accounts.ApiToken": "Keys of programs are secret: new ones are made.",
        "accounts.HouseSession": "Who is signed in is of the machine.",
        "accounts.Passkey": "Passkeys work under one address: each person adds them again.",
        "accounts.PinTries": "How often a PIN was typed wrong is of the moment.",
        "accounts.RecoveryCode": "Recovery codes are secret: each person makes new ones.",
        "accounts.SecondStep": "Keys of codes are secret: each person sets up the app again.",
        "accounts.SellerPin": "PINs are secret: each person sets a new one.",
        "accounts.SignIn": "Who signed in from where is of the machine, and kept for 180 days.",
        "axes.AccessAttempt": "How often a password was typed wrong is of the moment.",
        "axes.AccessAttemptExpiration": "How often a password was typed wrong is of the moment.",
        "axes.AccessFailureLog": "It is not used: the sign-ins are noted elsewhere.",
        "axes.AccessLog": "It is not used: the sign-ins are noted elsewhere.",
        "api.KeptAnswer": "Answers to programs are kept for a time: the books have what they tell.",
        "django_tasks_database.DBTaskResult": "Work that waits is of the machine.",
        "inventory.LongWork": "Work that is being done is of the machine.",
        "inventory.SentForm": "Forms that were sent are kept for 90 days: the books have the acts.",
        "keeping.Backup": "Where backups are kept is of the machine.",
        "keeping.ProvedSeals": "What was proved in this database tells of this database.",
        "keeping.RowChange": "When a row was changed last in this database tells of this database.",
        "keeping.SharedKeyAndFiles": "By which key and folder it is served is of the machines.",
        "webhooks.Endpoint": "Secrets are left out, and a copy of the house must tell no program.",
        "webhooks.EventDelivery": "What programs were told is kept for 30 days alone.",
        "webhooks.HouseEvent": "What programs were told is kept for 30 days alone.",
    }
)
# Why a column is not in an export, and what it has once the house came in. Django takes a password
# that begins with "!" for one that nobody has.
COLUMNS_LEFT_OUT: Mapping[tuple[str, str], tuple[str, object]] = MappingProxyType(
    {
        ("accounts.SetUp", "hashed_code"): ("The code of the first owner is secret.", ""),
        ("accounts.User", "password"): ("Passwords are secret: each person gets a new one.", "!"),
    }
)

WORDS = re.compile(r"(?<=[a-z0-9])(?=[A-Z])|_")


def exported_tables() -> list[StoredTable]:
    return [table for table in all_tables() if table.label not in TABLES_LEFT_OUT]


def exported_columns(table: StoredTable) -> list[StoredColumn]:
    return [
        column for column in table.columns if (table.label, column.name) not in COLUMNS_LEFT_OUT
    ]


def file_of(model: type[models.Model]) -> str:
    """Return the name of a table in the zip: tables/inventory/posting-line.csv."""
    return f"tables/{model._meta.app_label}/{_plain(model)}.csv"


def content_name(table: StoredTable, key: object, content: bytes) -> str:
    """Return the name under which bytes of a row are in the zip."""
    beginning = content[:5]
    kind = "pdf" if beginning == b"%PDF-" else "xml" if beginning == b"<?xml" else "bin"
    return f"contents/{table.model._meta.app_label}/{_plain(table.model)}/{key}.{kind}"


def _plain(model: type[models.Model]) -> str:
    return "-".join(word.lower() for word in WORDS.split(model.__name__) if word)
