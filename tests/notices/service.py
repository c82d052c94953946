"""A book on which real watchers run: invented machines, a notices file, a mail server, and
processes that can be killed. Whoever waits here waits for an event, never for a time.
"""

from __future__ import annotations

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select, update

from checkwatch.answers.notice.plan import Plan
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, Instant, to_datetime, wall
from checkwatch.run import clock
from checkwatch.run.notices import load
from checkwatch.store import journal, lease, outbox
from checkwatch.store.engine import noting, reading, writing
from checkwatch.store.tables import message, notice, watcher
from tests.post_office import Office

ROOT = Path(__file__).parents[2]

#: So long an event may take, in seconds, on a computer that has much else to do.
PATIENCE = 90

RULES = """
[rulebook]
title = "Invented"
zone = "{zone}"
[[check]]
code = "self-test"
title = "Self-test"
kinds = ["machine"]
minutes = {{ hands_on = 4 }}
[[check.validity]]
valid_for = "PT24H"
[[place_kind]]
code = "theatre"
needs = ["machine"]
duty = "always"
"""

MAIL = """
[mail]
host = "127.0.0.1"
port = {port}
sender = "book@saltmere.test"
security = "none"
timeout = 600
"""

#: One of each way that is built in.
PEOPLE = """
[[recipient]]
code = "desk"
roles = ["coordinator"]
mail = "desk@saltmere.test"

[[recipient]]
code = "wall"
file = "told.txt"

[[recipient]]
code = "pager"
command = ["./pager"]
"""

FAILED = '[[route]]\nkinds = ["gate-failed"]\nto = ["desk", "wall", "pager"]\n'

#: Keeps the Message-ID of each message that it gets, and the message.
PAGER = '#!/bin/sh\n{ echo "$CHECKWATCH_MESSAGE_ID"; cat; } >> "${0%/*}/paged.txt"\n'


def until(
    condition: Callable[[], Any], what: str | Callable[[], object] = "", seconds: float = PATIENCE
) -> Any:
    """Waits until something is so, and gives it."""
    end = time.monotonic() + seconds
    while not (found := condition()):
        assert time.monotonic() < end, what() if callable(what) else what or "it did not come about"
        time.sleep(0.02)
    return found


def noon_zone() -> str:
    """A zone in which it is about noon: no test meets midnight."""
    ahead = 12 - to_datetime(clock.now()).hour
    return f"Etc/GMT{-ahead:+d}" if ahead else "Etc/GMT"


def local_time(at: Instant, zone: str) -> str:
    """As a route has it."""
    return f"{wall(at, ZoneInfo(zone)):%H:%M}"


class Process:
    """A running `checkwatch`, and what it said."""

    def __init__(self, nursery: Nursery, pid: int, log: Path) -> None:
        self._nursery, self.pid, self._log = nursery, pid, log

    @property
    def log(self) -> str:
        return self._log.read_text()

    def says(self, text: str, times: int = 1) -> None:
        """Waits until it said something so often."""
        until(lambda: self.log.count(text) >= times, lambda: f"no {text!r} in:\n{self.log}")

    def send(self, number: int) -> None:
        os.kill(self.pid, number)

    def ended(self) -> int:
        """Waits for its end, and gives its exit code."""
        return self._nursery.ended(self.pid, lambda: self.log)

    def kill(self) -> None:
        self.send(signal.SIGKILL)
        assert self.ended() == -signal.SIGKILL

    def stop(self) -> None:
        self.says("event=started")
        self.send(signal.SIGTERM)
        assert self.ended() == 0, self.log


#: Has everything loaded, and becomes a `checkwatch` of its own for each line: begins in no time, so
#: that a test can kill many. Each looks at the book every second, so that nobody waits for five.
NURSERY = """
import contextlib, json, os, sys
from checkwatch.__main__ import main
import checkwatch.run.watcher.daemon, checkwatch.run.watcher.wall, checkwatch.run.senders.post
import checkwatch.run.watcher.status, checkwatch.cli.usage, checkwatch.views.page
checkwatch.run.watcher.daemon.HEARTBEAT = 1
with contextlib.suppress(ModuleNotFoundError):
    import psycopg, sqlalchemy.dialects.postgresql.psycopg
import sqlite3, sqlalchemy.dialects.sqlite
with contextlib.suppress(SystemExit), open(os.devnull, "w") as nowhere:
    with contextlib.redirect_stdout(nowhere):
        sys.argv = ["checkwatch", "watch", "--help"]
        main()
print("ready", flush=True)
while line := sys.stdin.readline():
    words, log, env = json.loads(line)
    if log is None:
        pid, status = os.waitpid(words, os.WNOHANG)
        print(os.waitstatus_to_exitcode(status) if pid else "runs", flush=True)
        continue
    pid = os.fork()
    if pid == 0:
        out = os.open(log, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
        os.dup2(out, 1), os.dup2(out, 2), os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.environ.update(env)
        sys.argv = ["checkwatch", *words]
        main()
    print(pid, flush=True)
"""


class Nursery:
    """Where processes come from; what still runs at the end is killed."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process, self._running = process, set[int]()

    def start(self, log: Path, *words: str | Path, **env: str) -> Process:
        pid = int(self._told([[*map(str, words)], str(log), env]))
        self._running.add(pid)
        log.touch()
        return Process(self, pid, log)

    def ended(self, pid: int, what: Callable[[], object]) -> int:
        said = until(lambda: (x := self._told([pid, None, {}])) != "runs" and (x,), what)
        self._running.discard(pid)
        return int(said[0])

    def clear(self) -> None:
        for pid in list(self._running):
            os.kill(pid, signal.SIGKILL)
            self.ended(pid, lambda: "killed and does not end")

    def _told(self, order: list[Any]) -> str:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        print(json.dumps(order), file=self._process.stdin, flush=True)
        return self._process.stdout.readline().strip()


@contextmanager
def nursery() -> Iterator[Nursery]:
    process = subprocess.Popen(
        [sys.executable, "-c", NURSERY],
        cwd=ROOT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    with process:
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
        yield Nursery(process)
        assert process.stdin is not None
        process.stdin.close()


class Suite:
    """A book with machines of which nothing is known yet, beside it a notices file."""

    def __init__(self, url: str, folder: Path, nursery: Nursery, zone: str = "") -> None:
        self.url, self.folder, self._nursery = url, folder, nursery
        self._failed = 0
        self._logs = 0
        self.zone = zone or noon_zone()
        (folder / "pager").write_text(PAGER)
        (folder / "pager").chmod(0o755)

    def begin(self, machines: int, at: Instant) -> None:
        """Adopts the rules and enrols the machines, each in a place of its own."""
        rules = RULES.format(zone=self.zone)
        place: dict[str, Any] = {"place_kind": "theatre", "area": "Main"}
        names = [f"M-{n:03}" for n in range(1, machines + 1)]
        self.write(
            about(e.Adopted, "", at, text=rules),
            *(about(e.PlaceKnown, "", at, place=f"Theatre {n}", **place) for n in names),
            *(about(e.Enrolled, n, at, kind="machine", place=f"Theatre {n}") for n in names),
        )

    def write(self, *entries: e.Entry) -> list[e.Entry]:
        with writing(self.url) as conn:
            return journal.append(conn, entries, max(entry.at for entry in entries))

    def fail(self, at: Instant | None = None) -> str:
        """The self-test of the next machine fails: one notice for each who is told."""
        self._failed += 1
        machine = f"M-{self._failed:03}"
        at = clock.now() if at is None else at
        self.write(about(e.Result, machine, at, check="self-test", outcome=e.Outcome.FAIL))
        return machine

    @property
    def failed(self) -> list[str]:
        return [f"M-{n:03}" for n in range(1, self._failed + 1)]

    def notices(self, text: str, office: Office | None = None) -> Plan:
        """Writes the notices file."""
        mail = MAIL.format(port=office.port) if office else ""
        self.file.write_text(mail + text)
        return load(str(self.file))

    @property
    def file(self) -> Path:
        return self.folder / "notices.toml"

    def start(self, *words: str | Path, **env: str) -> Process:
        """A `checkwatch` on this book."""
        self._logs += 1
        log = self.folder / f"{self._logs}.log"
        told = {"CHECKWATCH_NOTICES": str(self.file), "CHECKWATCH_DB": self.url, **env}
        return self._nursery.start(log, *words, **told)

    def asked(self, *words: str | Path) -> tuple[int, str]:
        """The exit code of a command on this book, and what it said."""
        process = self.start(*words)
        return process.ended(), process.log

    def a_minute_passes(self) -> None:
        """As far as the book can tell: who died held the lease and messages for no longer, and the
        shortest pause is over."""
        held, waits = message.c.taken_until, message.c.next_try
        with noting(self.url) as conn:
            until_then = watcher.c.until - lease.LASTS
            conn.execute(update(watcher).values(until=until_then))
            shorter = {"taken_until": held - outbox.HOLD}
            conn.execute(update(message).where(held > 0).values(shorter))
            conn.execute(update(message).values(next_try=waits - outbox.PAUSE))

    def taken(self) -> int:
        """How many messages some process has in hand."""
        with reading(self.url) as conn:
            found = conn.scalars(select(message.c.taken_until))
            return sum(1 for one in found if one > clock.now())

    def ids(self) -> dict[str, list[str]]:
        """The Message-IDs in the outbox, by recipient."""
        with reading(self.url) as conn:
            rows = conn.execute(select(message.c.recipient, message.c.message_id))
            found: dict[str, list[str]] = {}
            for recipient, message_id in rows:
                found.setdefault(recipient, []).append(message_id)
            return found

    def waiting(self) -> int:
        """How many messages nobody took yet."""
        with reading(self.url) as conn:
            return len(conn.scalars(select(message.c.number).where(message.c.sent == 0)).all())

    def decided(self) -> Counter[tuple[str, str, str]]:
        """How often each kind and subject was decided on for each recipient."""
        columns = (notice.c.kind, notice.c.subject, notice.c.recipient)
        with reading(self.url) as conn:
            return Counter(tuple(row) for row in conn.execute(select(*columns)))

    def all_told(self, recipients: Iterable[str]) -> bool:
        """Whether each fail was decided on for each recipient, and nothing waits any more."""
        wanted = {("gate-failed", m, r) for m in self.failed for r in recipients}
        return wanted <= self.decided().keys() and not self.waiting()


def about(of: type[e.Entry], machine: str, at: Instant, **more: Any) -> e.Entry:
    """An entry that is written when it happens."""
    return of(seq=0, machine=machine, at=at, recorded=at, **more)


def made(url: str, folder: Path, nursery: Nursery, machines: int = 3) -> Suite:
    """A suite that began yesterday."""
    suite = Suite(url, folder, nursery)
    suite.begin(machines, Instant(clock.now() - DAY - HOUR))
    return suite


def machines_in(text: str) -> set[str]:
    """The machines that a message tells of."""
    return set(re.findall(r"\bM-\d{3}\b", text))


def told_by_mail(office: Office) -> dict[str, set[str]]:
    """The machines in each letter by its Message-ID; a doubled one is the same to the letter."""
    raw: dict[str, bytes] = {}
    found: dict[str, set[str]] = {}
    for one in office.received:
        message_id = str(one.message["Message-ID"])
        assert raw.setdefault(message_id, one.raw) == one.raw
        body = one.message.get_body(("plain",))
        assert body is not None
        found[message_id] = machines_in(body.get_content())
    return found


def told_by_file(path: Path) -> list[tuple[str, set[str]]]:
    """The same of each message in a file, in its order."""
    parts = re.split(r"^(?:Message-ID: )?(<\w+@\S+>)$", path.read_text(), flags=re.MULTILINE)
    return [(one, machines_in(text)) for one, text in zip(parts[1::2], parts[2::2], strict=True)]


def once_each(told: Iterable[set[str]]) -> list[str]:
    """All machines that were told of, as often as they were."""
    return sorted(machine for machines in told for machine in machines)
