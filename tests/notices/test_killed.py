"""A watcher that is killed at any moment: each notice arrives, a double only as the same message.

A minute for which a dead process holds the lease and a message is taken off in the book.
"""

from __future__ import annotations

import os
import random
import time
from pathlib import Path

import pytest

from checkwatch.run import clock
from checkwatch.run.watcher.tick import Watcher
from checkwatch.run.watcher.wall import Wall
from checkwatch.store import outbox
from checkwatch.store.engine import noting
from tests.notices import service as s
from tests.notices.service import Suite, until
from tests.post_office import HANG, Office

#: In the long form many more are killed.
KILLS = 300 if os.environ.get("CHECKWATCH_LONG") else 12

EVERYBODY = ["desk", "wall", "pager"]


def all_came(suite: Suite, office: Office) -> None:
    """Each fail was told to everybody in exactly one message, which came at least once."""
    ids = suite.ids()
    by_mail = s.told_by_mail(office)
    assert set(by_mail) == set(ids["desk"])
    assert s.once_each(by_mail.values()) == suite.failed
    by_file = s.told_by_file(suite.folder / "told.txt")
    assert sorted(one for one, _ in by_file) == sorted(ids["wall"])
    assert s.once_each(machines for _, machines in by_file) == suite.failed
    by_command = dict(s.told_by_file(suite.folder / "paged.txt"))
    assert set(by_command) == set(ids["pager"])
    assert s.once_each(by_command.values()) == suite.failed


def test_killed_over_and_over_it_loses_nothing_and_doubles_nothing(
    on_both: Suite, office: Office
) -> None:
    suite, chance = on_both, random.Random(20260312)
    suite.notices(s.PEOPLE + s.FAILED, office)
    began = time.monotonic()
    suite.fail()
    first = suite.start("watch")
    until(lambda: suite.all_told(EVERYBODY), lambda: first.log)
    # As long as a whole life takes here and now: kills come at every moment of it.
    life = time.monotonic() - began
    first.kill()
    for kill in range(KILLS):
        suite.a_minute_passes()
        if kill < 55:
            suite.fail()
        watcher = suite.start("watch")
        time.sleep(chance.uniform(0, 1.3 * life))
        watcher.kill()
    suite.a_minute_passes()
    last = suite.start("watch")
    until(lambda: suite.all_told(EVERYBODY), lambda: last.log)
    last.stop()
    all_came(suite, office)


@pytest.mark.parametrize("step", ["EHLO", "RCPT", "DATA", "TAKEN"])
def test_killed_while_it_hands_over_the_message_comes_with_the_next_run(
    service: Suite, office: Office, step: str
) -> None:
    """TAKEN is the moment at which the server has it and nobody noted that."""
    service.notices(s.PEOPLE + s.FAILED, office)
    service.fail()
    office.behave(step, HANG)
    watcher = service.start("watch")
    until(lambda: step in office.asked and service.waiting() == 1, lambda: watcher.log)
    watcher.kill()
    before = len(office.received)
    assert before == (step == "TAKEN")
    # What a dead process of the same computer had in hand nobody waits for.
    code, _ = service.asked("send", "gate-failed", "--to", "wall")
    assert (code, len(office.received)) == (1, before + 1)
    second = service.start("watch")
    until(lambda: service.all_told(EVERYBODY), lambda: second.log)
    second.stop()
    assert len(office.received) == before + 1
    all_came(service, office)


def test_killed_before_it_has_written_down_what_it_decided(on_both: Suite, office: Office) -> None:
    """It waits for another process that decides, and dies."""
    on_both.notices(s.PEOPLE + s.FAILED, office)
    on_both.fail()
    with noting(on_both.url) as conn:
        outbox.alone(conn)
        watcher = on_both.start("watch")
        watcher.says("event=started")
        time.sleep(0.2)
        watcher.kill()
    assert not on_both.decided()
    second = on_both.start("watch")
    until(lambda: on_both.all_told(EVERYBODY), lambda: second.log)
    all_came(on_both, office)


def test_killed_between_writing_down_and_handing_over(on_both: Suite, office: Office) -> None:
    plan = on_both.notices(s.PEOPLE + s.FAILED, office)
    on_both.fail()
    assert Watcher(on_both.url, plan, "who died", clock.now()).tick(clock.now()).wrote
    on_both.a_minute_passes()
    second = on_both.start("watch")
    until(lambda: on_both.all_told(EVERYBODY), lambda: second.log)
    all_came(on_both, office)


def test_a_job_hands_over_what_a_dead_process_had_in_hand(service: Suite, office: Office) -> None:
    """Where no watcher runs there is no other until the next night."""
    service.notices(s.PEOPLE + s.FAILED, office)
    service.fail()
    office.behave("TAKEN", HANG)
    dead = service.start("send", "gate-failed", "--to", "desk")
    until(lambda: office.received, lambda: dead.log)
    dead.kill()
    second = service.start("send", "gate-failed", "--to", "desk")
    until(lambda: "TAKEN" in office.asked)
    service.a_minute_passes()
    assert second.ended() == 1, second.log
    assert len(office.received) == 2
    assert len(s.told_by_mail(office)) == 1


def test_what_a_killed_one_left_beside_the_pages_is_taken_away(tmp_path: Path) -> None:
    left = [tmp_path / ".index.html.77", tmp_path / ".area-main.html.78"]
    others = [tmp_path / "index.html", tmp_path / ".htaccess"]
    for path in (*left, *others):
        path.touch()
    Wall(str(tmp_path))
    assert sorted(tmp_path.iterdir()) == sorted(others)
