"""Whatever a command writes into DATA_DIR is open to the user who runs it alone."""

import os
import stat

from tests.upgrade import databases

COMMANDS = """
import logging
from django.conf import settings
from django.core.files.base import ContentFile
from django.core.mail import send_mail
from django.core.management import call_command
from apiary_sales.keeping import in_use, log_files
from inventory.shared.models.files import private_storage

call_command("migrate", verbosity=0)
call_command("backup")
call_command("export_house", settings.DATA_DIR / "exports" / "house.zip")
send_mail("Your order", "It is ready.", "house@honey.example", ["shop@honey.example"])
private_storage().save("note", ContentFile(b"a scan"))
log = log_files.begin()
logging.getLogger("honey").warning("Begun.")
log_files.end(log)
with in_use.held():
    pass
"""


def test_what_any_command_writes_is_the_users_alone(tmp_path):
    data_dir = tmp_path / "data"
    # What most machines give to a shell.
    before = os.umask(0o022)
    try:
        ran = databases.run(
            COMMANDS,
            data_dir=data_dir,
            database_url=databases.sqlite_url(data_dir / "honey.sqlite3"),
        )
    finally:
        os.umask(before)
    assert ran.returncode == 0, ran.stderr

    written = [data_dir, *data_dir.rglob("*")]
    open_to_others = [
        f"{path.relative_to(data_dir)} {stat.filemode(path.stat().st_mode)}"
        for path in written
        if path.stat().st_mode & 0o077
    ]
    assert open_to_others == []
    folders = {path.name for path in written if path.is_dir()}
    assert folders >= {"backups", "e-mails", "exports", "files", "logs"}
