"""Nobody takes a letter, the disk is full, the book is gone: it is told so, and comes later."""

from __future__ import annotations

import json
import re
import socket
import threading
from pathlib import Path

import pytest
from sqlalchemy import create_engine, make_url, text
from sqlalchemy.pool import NullPool

from checkwatch.core.instant import DAY, MINUTE, Instant
from checkwatch.run import clock
from checkwatch.run.watcher.deliver import deliver
from checkwatch.run.watcher.tick import Watcher
from checkwatch.store import outbox
from checkwatch.store.engine import noting, reading
from tests.notices import service as s
from tests.notices.service import Process, Suite, until
from tests.notices.test_daemon import SLOW
from tests.post_office import DROP, HANG, HOST, Office, post_office

resource = pytest.importorskip("resource")

BY_MAIL = s.FAILED.replace('"desk", "wall", "pager"', '"desk"')
BY_MAIL_AND_FILE = s.FAILED.replace('"desk", "wall", "pager"', '"desk", "wall"')
BY_FILE = s.FAILED.replace('"desk", "wall", "pager"', '"wall"')
BY_COMMAND = s.FAILED.replace('"desk", "wall", "pager"', '"pager"')
NO_MAIL = s.PEOPLE.replace("mail = ", "file = ")


def status(suite: Suite) -> tuple[int, list[str]]:
    """The exit code of `watch --status`, and why what is undelivered is."""
    code, said = suite.asked("watch", "--status", "--json")
    return code, [one["trouble"] for one in json.loads(said)["undelivered"]]


def test_it_is_tried_again_after_growing_pauses(service: Suite, office: Office) -> None:
    plan, now = service.notices(s.PEOPLE + BY_MAIL, office), clock.now()
    service.fail(now)
    Watcher(service.url, plan, "tried", now).tick(now)
    office.behave("RCPT", "450 4.2.0 later", always=True)
    tried = []
    for minute in range(250):
        before = len(office.asked)
        at = Instant(now + minute * MINUTE)
        deliver(service.url, plan, lambda at=at: at)
        if len(office.asked) > before:
            tried.append(minute)
    assert tried == [0, 1, 3, 7, 15, 31, 63, 123, 183, 243]
    office.behave("RCPT", "", always=True)
    # However long it takes: it is not given up, nor forgotten.
    at = Instant(now + 30 * DAY)
    with reading(service.url) as conn:
        assert [one.number for one in outbox.undelivered(conn, Instant(now + 6 * DAY))] == [1]
    deliver(service.url, plan, lambda: at)
    assert len(office.received) == 1
    assert not service.waiting()


def test_what_another_handed_over_meanwhile_stays_delivered(service: Suite) -> None:
    plan, now = service.notices(NO_MAIL + BY_FILE), clock.now()
    service.fail(now)
    Watcher(service.url, plan, "tried", now).tick(now)
    late = Instant(now + outbox.HOLD)
    with noting(service.url) as conn:
        assert outbox.take(conn, 1, now)
        assert outbox.take(conn, 1, now) is None
        assert outbox.take(conn, 1, late)
        outbox.mark_sent(conn, 1, late)
        outbox.mark_failed(conn, 1, late, "gave no answer")
        (one,) = outbox.messages(conn, [1])
    assert (one.sent, one.tries, one.trouble) == (late, 0, "")


@pytest.mark.parametrize(
    ("step", "answer", "reason"),
    [
        ("RCPT", "450 4.2.0 later", "refused the address, it says 450 4.2.0 later"),
        ("RCPT", "550 5.1.1 no", "refused the address, it says 550 5.1.1 no"),
        ("DATA", DROP, "broke the connection off"),
        ("DATA", "451 4.3.0 busy", "refused the message, it says 451 4.3.0 busy"),
        ("EHLO", HANG, "gave no answer within 1 s"),
    ],
)
def test_what_the_server_does_not_take_is_shown_and_comes_later(
    service: Suite, office: Office, step: str, answer: str, reason: str
) -> None:
    service.notices(s.PEOPLE + BY_MAIL_AND_FILE, office)
    service.file.write_text(service.file.read_text().replace("timeout = 600", "timeout = 1"))
    office.behave(step, answer, always=True)
    service.fail()
    watcher = service.start("watch")
    watcher.says("event=undelivered")
    watcher.says("recipient=wall trouble=''")
    assert status(service) == (1, [f"mail server {HOST}:{office.port}: {reason}"])
    office.behave(step, "", always=True)
    service.a_minute_passes()
    until(lambda: not service.waiting(), lambda: watcher.log)
    assert status(service) == (0, [])
    watcher.stop()
    assert len(s.told_by_mail(office)) == 1


def test_a_server_that_is_down_gets_it_when_it_is_up(service: Suite) -> None:
    with socket.create_server((HOST, 0)) as taken:
        port = taken.getsockname()[1]
    service.file.write_text(s.MAIL.format(port=port) + s.PEOPLE + BY_MAIL)
    service.fail()
    watcher = service.start("watch")
    watcher.says("event=undelivered")
    assert status(service) == (1, [f"mail server {HOST}:{port}: nothing takes connections there"])
    with post_office(port=port) as office:
        service.a_minute_passes()
        until(lambda: office.received, lambda: watcher.log)
        until(lambda: not service.waiting(), lambda: watcher.log)
        watcher.stop()


def test_a_file_on_a_full_disk_gets_it_when_there_is_room(service: Suite) -> None:
    service.notices(NO_MAIL + BY_FILE)
    told = service.folder / "told.txt"
    told.write_text(f"{'-' * 999}\n" * 4_000)
    watcher = service.start("watch")
    watcher.says("event=started")
    room(watcher, 4_000_000)
    service.fail()
    watcher.says("event=undelivered")
    code, why = status(service)
    assert (code, why) == (1, [f"file {told}: File too large"])
    assert told.stat().st_size == 4_000_000
    room(watcher, resource.RLIM_INFINITY)
    service.a_minute_passes()
    until(lambda: not service.waiting(), lambda: watcher.log)
    watcher.stop()
    assert [machines for _, machines in s.told_by_file(told)] == [{"M-001"}]


def room(process: Process, size: int) -> None:
    """No file of a process becomes larger: what is written beyond fails, as on a full disk."""
    _, most = resource.prlimit(process.pid, resource.RLIMIT_FSIZE)
    resource.prlimit(process.pid, resource.RLIMIT_FSIZE, (size, most))


def test_with_no_room_for_the_book_and_the_pages_it_goes_on(service: Suite) -> None:
    service.notices(NO_MAIL + BY_FILE)
    index = service.folder / "page" / "index.html"
    watcher = service.start("watch", "--page", index.parent)
    until(lambda: index.exists() and shows(index), lambda: watcher.log)
    # More than the log has, less than a page or a line of the book needs.
    room(watcher, 4_000)
    service.fail()
    watcher.says("event=cannot-look")
    watcher.says("event=no-page")
    # What stands is whole, and takes its standings away by itself.
    assert index.read_text().rstrip().endswith("</html>")
    room(watcher, resource.RLIM_INFINITY)
    until(lambda: not service.waiting() and service.decided(), lambda: watcher.log)
    before = index.read_text()
    until(lambda: shows(index) and index.read_text() != before, lambda: watcher.log)
    watcher.stop()
    assert len(s.told_by_file(service.folder / "told.txt")) == 1


def shows(page: Path) -> bool:
    """Whether a page shows standings."""
    return "cannot be read" not in (said := page.read_text()) and "readable since" not in said


def test_a_book_that_goes_away_blanks_the_pages_and_comes_back(service: Suite) -> None:
    (service.folder / "pager").write_text(SLOW)
    service.notices(NO_MAIL + BY_COMMAND)
    book, away = service.folder / "book.db", service.folder / "away.db"
    index, begun = service.folder / "page" / "index.html", service.folder / "begun.txt"
    service.fail()
    watcher = service.start("watch", "--page", index.parent)
    until(lambda: begun.exists() and index.exists(), lambda: watcher.log)
    book.rename(away)
    watcher.says("event=cannot-look")
    until(lambda: not shows(index), lambda: watcher.log)
    assert "there is no book" in index.read_text()
    assert not re.search(r"\bM-001\b", index.read_text())
    # It was taken meanwhile, and nobody could note it down.
    (service.folder / "go").touch()
    watcher.says("event=cannot-hand-over")
    away.rename(book)
    until(lambda: shows(index), lambda: watcher.log)
    service.fail()
    service.a_minute_passes()
    until(lambda: service.all_told(["pager"]), lambda: watcher.log)
    watcher.stop()
    paged = s.told_by_file(service.folder / "paged.txt")
    assert len(paged) == 3
    assert sorted(dict(paged).values()) == [{"M-001"}, {"M-002"}]


@pytest.mark.parametrize("book_url", ["postgresql"], indirect=True)
def test_a_server_of_the_book_that_ends_connections_is_outlived(
    on_both: Suite, office: Office
) -> None:
    plain = on_both.url
    named = make_url(plain).update_query_dict({"application_name": "watched"})
    on_both.url = named.render_as_string(hide_password=False)
    on_both.notices(s.PEOPLE + s.FAILED, office)
    index = on_both.folder / "page" / "index.html"
    watcher = on_both.start("watch", "--page", index.parent)
    on_both.url = plain
    until(lambda: index.exists() and shows(index), lambda: watcher.log)
    with ending(plain):
        for _ in range(3):
            on_both.fail()
        watcher.says("event=cannot-look", 2)
        until(lambda: not shows(index), lambda: watcher.log)
    for _ in range(10):
        on_both.a_minute_passes()
    until(lambda: on_both.all_told(["desk", "wall", "pager"]), lambda: watcher.log)
    until(lambda: shows(index), lambda: watcher.log)
    watcher.stop()
    told = s.told_by_mail(office)
    assert s.once_each(told.values()) == on_both.failed


class ending:  # noqa: N801
    """Ends the watcher's connections over and over."""

    def __init__(self, url: str) -> None:
        self._engine = create_engine(make_url(url), poolclass=NullPool)
        self._enough = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        self._enough.set()
        self._thread.join()

    def _run(self) -> None:
        end = text(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
            "WHERE application_name = 'watched' AND pid <> pg_backend_pid()"
        )
        with self._engine.connect() as conn:
            while not self._enough.wait(0.002):
                conn.execute(end)
                conn.rollback()
