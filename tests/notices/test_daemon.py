"""The watcher as a process: it ends well, gives way, and hears what others write."""

from __future__ import annotations

import io
import logging
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FrameType
from typing import Any

import pytest

from checkwatch.cli.notices import _OneLine
from checkwatch.core import entry as e
from checkwatch.core.instant import Instant
from checkwatch.run import clock
from checkwatch.run.watcher import daemon as daemons
from checkwatch.run.watcher.daemon import Daemon
from checkwatch.run.watcher.tick import Ticked, Watcher
from checkwatch.store import lease
from checkwatch.store.engine import reading
from tests.notices import service as s
from tests.notices.service import PATIENCE, Suite, until
from tests.post_office import HANG, Office, certificate, post_office

#: Does not end before somebody lets it.
SLOW = """#!/bin/sh
here="${0%/*}"
echo "$CHECKWATCH_MESSAGE_ID" >> "$here/begun.txt"
while [ ! -e "$here/go" ]; do sleep 0.02; done
{ echo "$CHECKWATCH_MESSAGE_ID"; cat; } >> "$here/paged.txt"
"""

PAGED = s.FAILED.replace('"desk", "wall", "pager"', '"pager"')
ON_THE_WALL = s.FAILED.replace('"desk", "wall", "pager"', '"wall"')


@contextmanager
def running(daemon: Daemon) -> Iterator[threading.Thread]:
    """A daemon in a thread; it must end when it is asked to."""
    thread = threading.Thread(target=daemon.run_until_stopped, daemon=True)
    thread.start()
    yield thread
    daemon.stop()
    thread.join(PATIENCE)
    assert not thread.is_alive(), "it does not end"


@pytest.fixture(autouse=True)
def _looks_every_second(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(daemons, "HEARTBEAT", 1)


def daemon_of(suite: Suite, plan: Any, of: type[Watcher] = Watcher) -> Daemon:
    now = clock.now()
    return Daemon(of(suite.url, plan, "tried", now), "tried", None, clock.now)


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_asked_to_end_it_hands_over_the_message_in_hand_and_gives_way(
    service: Suite, number: int
) -> None:
    (service.folder / "pager").write_text(SLOW)
    begun = service.folder / "begun.txt"
    service.notices(s.PEOPLE.replace('mail = "desk@saltmere.test"', 'file = "desk.txt"') + PAGED)
    service.fail()
    first = service.start("watch")
    until(begun.exists, lambda: first.log)
    service.fail()
    until(lambda: service.waiting() == 2, lambda: first.log)
    first.send(number)
    (service.folder / "go").touch()
    assert first.ended() == 0, first.log
    assert "event=delivered message=1" in first.log
    assert first.log.endswith("event=stopped\n")
    assert len(begun.read_text().split()) == service.waiting() == 1
    # No minute has passed, and the second one need not wait for one.
    second = service.start("watch")
    until(lambda: not service.waiting(), lambda: second.log)
    with reading(service.url) as conn:
        standing = lease.lease(conn)
    assert standing is not None
    assert f" {second.pid} " in standing.holder


def test_the_program_itself_as_it_is_run(service: Suite) -> None:
    service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL)
    words = ["watch", "--db", service.url, "--notices", service.file]
    command = [sys.executable, "-m", "checkwatch", *map(str, words)]
    log = service.folder / "log"
    with log.open("w") as err:
        process = subprocess.Popen(command, cwd=s.ROOT, stderr=err, stdout=err)
    try:
        until(lambda: "event=started" in log.read_text())
        service.fail()
        until((service.folder / "told.txt").exists, log.read_text)
        process.terminate()
        assert process.wait(PATIENCE) == 0
    finally:
        process.kill()
        process.wait()
    assert log.read_text().endswith("event=stopped\n")


def test_one_that_ends_while_a_tick_asks_for_more_ends(service: Suite) -> None:
    class AskedMeanwhile(Watcher):
        def tick(self, now: Instant) -> Ticked:
            ticked = super().tick(now)
            daemon.stop()
            until(lambda: not daemon._scheduler.running)
            time.sleep(0.3)
            return ticked

    plan = service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL)
    service.fail()
    daemon = daemon_of(service, plan, AskedMeanwhile)
    with running(daemon) as thread:
        thread.join(PATIENCE)
    assert service.waiting() == 1


def test_a_signal_may_come_in_the_middle_of_anything(service: Suite) -> None:
    """It is handled between two steps of the program, whatever locks that holds."""
    plan = service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL)
    daemon = daemon_of(service, plan)

    def traced(frame: FrameType, event: str, _: object) -> Any:
        if event == "line" and Path(frame.f_code.co_filename).name in ("threading.py", "queue.py"):
            callers = (frame.f_back, frame.f_back and frame.f_back.f_back)
            if any(one and one.f_code.co_name == "run_until_stopped" for one in callers):
                daemon.stop()
        return traced

    def run() -> None:
        sys.settrace(traced)
        daemon.run_until_stopped()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    time.sleep(1)
    # Not from here where the thread may hold what this would wait for.
    threading.Thread(target=daemon.stop, daemon=True).start()
    thread.join(30)
    assert not thread.is_alive(), "it waits for itself"


def test_those_who_hang_keep_nobody_waiting(service: Suite, office: Office) -> None:
    many = "".join(
        f'[[recipient]]\ncode = "d{n}"\nroles = ["all"]\nmail = "d{n}@saltmere.test"\n'
        for n in range(12)
    )
    office.behave("EHLO", HANG, always=True)
    service.notices(many + s.PEOPLE + s.FAILED.replace('["desk"', '["all"'), office)
    service.fail()
    watcher = service.start("watch")
    until((service.folder / "told.txt").exists, lambda: watcher.log)
    until((service.folder / "paged.txt").exists, lambda: watcher.log)
    service.fail()
    until(lambda: (service.folder / "told.txt").read_text().count("End:") == 2)
    watcher.kill()


def test_two_watchers_and_two_jobs_tell_each_once(on_both: Suite, office: Office) -> None:
    local = clock.now()
    at = s.local_time(local, on_both.zone)
    route = (
        f'[[route]]\nkinds = ["nightly-list"]\nto = ["desk", "wall", "pager"]\ntimes = ["{at}"]\n'
    )
    on_both.notices(s.PEOPLE + s.FAILED + route, office)
    on_both.fail()
    watchers = [on_both.start("watch") for _ in range(2)]
    jobs = [on_both.start("send", "nightly-list") for _ in range(2)]
    jobs += [on_both.start("send", "gate-failed") for _ in range(2)]
    assert [job.ended() for job in jobs] == [1] * 4
    on_both.fail()
    everybody = ["desk", "wall", "pager"]
    until(lambda: on_both.all_told(everybody), lambda: [one.log for one in watchers])
    for one in watchers:
        one.stop()
    assert set(on_both.decided().values()) == {1}
    ids = on_both.ids()
    by_mail = [str(one.message["Message-ID"]) for one in office.received]
    by_file = [one for one, _ in s.told_by_file(on_both.folder / "told.txt")]
    by_command = [one for one, _ in s.told_by_file(on_both.folder / "paged.txt")]
    found = {"desk": by_mail, "wall": by_file, "pager": by_command}
    assert {one: sorted(x) for one, x in found.items()} == {
        one: sorted(x) for one, x in ids.items()
    }


def test_a_change_in_the_book_is_told_by_a_watcher_that_slept(service: Suite) -> None:
    service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL)
    watcher = service.start("watch", "--page", service.folder / "page")
    index = service.folder / "page" / "index.html"
    until(index.exists, lambda: watcher.log)
    service.fail()
    watcher.says("event=delivered")
    assert "M-001" in (service.folder / "told.txt").read_text()
    before = index.read_text()
    until(lambda: index.read_text() != before, "the page is not refreshed")
    place: dict[str, Any] = {"place": "Attic", "place_kind": "theatre"}
    service.write(s.about(e.PlaceKnown, "", clock.now(), area="Roof", **place))
    pages = lambda: {one.name for one in index.parent.glob("area-*.html")}  # noqa: E731
    until(lambda: "area-roof.html" in pages())
    service.write(s.about(e.PlaceKnown, "", clock.now(), area="Main", **place))
    until(lambda: pages() == {"area-main.html"})
    watcher.stop()
    assert {one.name for one in index.parent.iterdir()} == {"index.html", "area-main.html"}


def test_what_another_process_heard_is_not_repeated(service: Suite) -> None:
    service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL + 'repeat = "PT1S"\n')
    service.fail()
    watcher = service.start("watch")
    watcher.says("event=delivered", 2)
    code, said = service.asked("heard", "1", "--by", "EB")
    assert code == 0, said
    # By a notice that is decided later it has looked since.
    service.fail()
    watcher.says("subject='M-002'", 2)
    decided = [one for one in watcher.log.splitlines() if "event=decided" in one]
    last = max(n for n, one in enumerate(decided) if "'M-001'" in one)
    first = min(n for n, one in enumerate(decided) if "'M-002'" in one)
    assert last < first
    watcher.stop()


WORD = r"""( [a-z]+=([^\s'"]+|'[^']*'|"[^"]*"))*"""
LINE = re.compile(rf"time=[\d-]{{10}}T[\d:.]{{12}}Z level=[A-Z]+ event=[a-z-]+{WORD}")


def test_it_logs_a_line_an_event_without_what_is_not_for_everybody(service: Suite) -> None:
    context, believed = certificate()
    (service.folder / "ca.pem").write_bytes(believed)
    password = service.folder / "mail.password"
    password.write_text("Geheim-77\n")
    password.chmod(0o600)
    with post_office(tls=context, users={"checks": "Geheim-77"}) as office:
        text = s.PEOPLE + s.FAILED + 'repeat = "PT1S"\n'
        service.notices(text, office)
        secret = 'security = "tls"\nuser = "checks"\npassword_file = "mail.password"'
        known = service.file.read_text().replace('security = "none"', secret)
        service.file.write_text(known)
        office.behave("RCPT", "550 5.1.1 no desk@saltmere.test of Edda Bright\r\n here")
        failed: dict[str, Any] = {"check": "self-test", "outcome": e.Outcome.FAIL, "by": "EB"}
        failed["note"] = "Edda Bright\nevent=forged"
        service.write(s.about(e.Result, "M-001", clock.now(), **failed))
        env = {"SSL_CERT_FILE": str(service.folder / "ca.pem")}
        watcher = service.start("watch", "--page", service.folder / "page", **env)
        watcher.says("event=undelivered")
        (service.folder / "book.db").rename(service.folder / "away.db")
        watcher.says("event=cannot-look")
        (service.folder / "away.db").rename(service.folder / "book.db")
        service.a_minute_passes()
        until(lambda: office.received, lambda: watcher.log)
        watcher.stop()
    for line in watcher.log.splitlines():
        assert LINE.fullmatch(line), line
    for private in ("Geheim", "Bright", "@saltmere", "forged"):
        assert private not in watcher.log


def test_what_nobody_foresaw_is_one_line_and_it_goes_on(service: Suite) -> None:
    class Stumbles(Watcher):
        tries = 0

        def tick(self, now: Instant) -> Ticked:
            self.tries += 1
            if self.tries == 1:
                raise RuntimeError("Geheim\nand more")
            return super().tick(now)

    plan = service.notices(s.PEOPLE.replace("mail = ", "file = ") + ON_THE_WALL)
    service.fail()
    stream = io.StringIO()
    handler = logging.StreamHandler(stream)
    handler.setFormatter(_OneLine("level=%(levelname)s %(message)s"))
    logger = logging.getLogger("apscheduler")
    logger.addHandler(handler)
    try:
        with running(daemon_of(service, plan, Stumbles)):
            until((service.folder / "told.txt").exists)
    finally:
        logger.removeHandler(handler)
    (line,) = [one for one in stream.getvalue().splitlines() if "ERROR" in one]
    where = f"RuntimeError in {Path(__file__).name}, line "
    assert line.startswith(f"level=ERROR event=failed why='{where}")
    assert "Geheim" not in stream.getvalue()
