"""Papers that are set in print by processes of their own."""

import os
import signal

from django.utils.safestring import mark_safe

from inventory.shared import documents, press, print_room

HTML = mark_safe("<p>Miel de azahar 1,284.50 €</p>")


def processes(room):
    return list(room._processes.values())


def test_the_print_room_makes_the_same_papers_and_outlives_a_process_that_was_killed():
    here = press.paper(str.__str__(HTML))

    with print_room.opened(presses=1):
        there = documents._printed(press.paper, HTML)
        [killed] = processes(print_room._room)
        os.kill(killed.pid, signal.SIGKILL)
        killed.join()
        again = documents._printed(press.paper, HTML)
        *_, last = processes(print_room._room)

    last.join(timeout=30)
    assert here.startswith(b"%PDF-")
    assert there == here
    assert again == here
    assert last.pid not in (killed.pid, os.getpid())
    assert not last.is_alive()
    assert documents._printed(press.paper, HTML) == here
