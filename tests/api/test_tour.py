"""The tour of the API is what happens: its commands are run, and answered as it shows."""

import json
import shutil
import subprocess
from datetime import datetime
from typing import Any

import pytest
from django.utils import timezone

from apiary_sales.accounts.services import people
from apiary_sales.api import tour
from tests import skips

# When the commands are given: the days that they name have just been.
DAY = datetime(2026, 7, 22, 10, 0, tzinfo=timezone.get_default_timezone())
# Between the answers to two commands.
MARK = "\n-- answered --\n"
# What is another in each database: only its kind is compared.
OF_ITS_OWN = ("id", "token", "state", "line", "goods", "changed_at")


def told(following: tour.Block) -> Any:
    """Return what is shown of the answer to a command, None where nothing is."""
    if following.kind == "json":
        return alike(json.loads(following.text))
    return following.text if following.kind == "plain" else None


def alike(answer: Any, name: str = "") -> Any:
    """Return an answer with only the kind of what is another in each database."""
    if isinstance(answer, dict):
        return {key: alike(value, key) for key, value in answer.items()}
    if isinstance(answer, list):
        return [alike(value, name) for value in answer]
    if answer is not None and (name in OF_ITS_OWN or name.endswith("_id")):
        return type(answer).__name__
    return answer


@pytest.fixture
def answers(live_server, transactional_db, time_machine, tmp_path) -> list[str]:
    """What each command of the tour is answered, given one after the other to a shell."""
    for program in ("bash", "curl"):
        if shutil.which(program) is None:
            skips.skip(f"{program} is not on this machine: install it to run the tour.")
    people.add(username="odile", name="Odile", password="clover-and-comb", role="owner")
    time_machine.move_to(DAY, tick=False)
    commands = [block.text for block in tour.blocks() if block.kind == "sh"]
    commands[0] = commands[0].replace("http://127.0.0.1:8000", live_server.url)
    assert live_server.url in commands[0]
    script = "".join(f"{command}\nprintf '%s' '{MARK}'\n" for command in commands)
    shell = subprocess.run(
        ["bash", "-euo", "pipefail", "-c", script],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    assert (shell.returncode, shell.stderr) == (0, "")
    return shell.stdout.split(MARK)[:-1]


def test_each_command_is_answered_as_the_tour_shows(answers):
    parts = tour.blocks()
    pairs = zip(parts, [*parts[1:], parts[0]], strict=True)
    commands = [(block, told(following)) for block, following in pairs if block.kind == "sh"]

    assert len(answers) == len(commands)
    for (command, shown), answer in zip(commands, answers, strict=True):
        if shown is None:
            continue
        is_json = isinstance(shown, dict | list)
        assert (alike(json.loads(answer)) if is_json else answer) == shown, command.text
