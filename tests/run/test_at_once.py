"""Two writers at once, on both databases: each decides by what the other one wrote."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from threading import Event
from time import sleep
from typing import Any

import pytest

from checkwatch.core import entry as e
from checkwatch.core.instant import MINUTE, Instant
from checkwatch.errors import WrongUse
from checkwatch.run.adopt import adopt
from checkwatch.run.foresee import changing
from checkwatch.run.world import Asked, adopted
from checkwatch.run.write import write
from checkwatch.store import journal, migrate, read
from checkwatch.store.engine import reading
from tests.cli.conftest import RULES

NOW = Instant(1_790_000_000_000_000)

#: As long as a writer needs who waits for nobody.
A_WHILE = 1.0


@pytest.fixture
def url(book_url: str) -> str:
    """AM-01 with a fault, entry 3."""
    migrate.create(book_url)
    common: dict[str, Any] = {"seq": 0, "at": NOW, "recorded": NOW, "by": "kd"}
    adoption = e.Adopted(machine="", text=RULES, **common)
    steps: tuple[e.Entry, ...] = (
        e.Enrolled(machine="AM-01", kind="anaesthetic-machine", place="T1", **common),
        e.Fault(machine="AM-01", severity=e.Severity.STOP_USE, **(common | {"note": "valve"})),
    )
    with changing(book_url, NOW) as conn:
        journal.append(conn, [adoption, *steps], NOW)
    return book_url


@pytest.fixture
def pool() -> Iterator[ThreadPoolExecutor]:
    with ThreadPoolExecutor(2) as threads:
        yield threads


def draft(asked: Asked, kind: type[e.Entry], **more: Any) -> e.Entry:
    now = asked.question.now
    fields: dict[str, Any] = {"seq": 0, "machine": "AM-01", "at": now, "recorded": now, "by": "kd"}
    return kind(**fields, **more)


def number_of(url: str, kind: type[e.Entry]) -> int:
    with reading(url) as conn:
        return max(one.seq for one in read.entries(conn, ["AM-01"]) if isinstance(one, kind))


@pytest.mark.parametrize(("kind", "what"), [(e.Struck, "struck"), (e.FaultClosed, "closed")])
def test_of_two_who_strike_or_close_the_same_one_hears_that_it_is_done(
    url: str, pool: ThreadPoolExecutor, kind: type[e.Entry], what: str
) -> None:
    number = number_of(url, e.Fault)
    read_it, go_on = Event(), Event()

    def act(first: bool) -> None:
        def make(asked: Asked) -> Sequence[e.Entry]:
            if first:
                read_it.set()
                go_on.wait(10)
            return [draft(asked, kind, of=number)]

        write(url, Instant(NOW + MINUTE), lambda _: ["AM-01"], make, what_if=False)

    one = pool.submit(act, first=True)
    assert read_it.wait(10)
    other = pool.submit(act, first=False)
    sleep(A_WHILE)
    go_on.set()
    one.result()
    with pytest.raises(WrongUse, match=what):
        other.result()


def adopting(pool: ThreadPoolExecutor, url: str) -> Future[e.Entry]:
    later = RULES.replace("PT24H", "PT12H")
    return pool.submit(adopt, url, Instant(NOW + MINUTE), later, None, "kd", "shorter")


def test_an_adoption_waits_for_who_writes_and_judges_nothing_before_it(
    url: str, pool: ThreadPoolExecutor
) -> None:
    """The other computer's clock is a minute ahead."""
    ahead = Instant(NOW + 2 * MINUTE)
    common: dict[str, Any] = {"seq": 0, "at": ahead, "recorded": ahead}
    with changing(url, ahead) as conn:
        journal.hold(conn, ["AM-01"])
        adoption = adopting(pool, url)
        sleep(A_WHILE)
        assert not adoption.done()
        (wrote,) = journal.append(conn, [e.Note(machine="AM-01", **common)], ahead)
    assert adoption.result().at >= wrote.recorded


def test_who_writes_waits_for_an_adoption_and_is_judged_by_it(
    url: str, pool: ThreadPoolExecutor, monkeypatch: pytest.MonkeyPatch
) -> None:
    read_it, go_on = Event(), Event()

    def slow(conn: Any) -> Any:
        found = adopted(conn)
        read_it.set()
        go_on.wait(10)
        return found

    monkeypatch.setattr("checkwatch.run.adopt.adopted", slow)
    adoption = adopting(pool, url)
    assert read_it.wait(10)
    seen: list[int] = []

    def make(asked: Asked) -> Sequence[e.Entry]:
        seen.append(len(asked.book.versions.adopted))
        return [draft(asked, e.Note, note="x")]

    other = pool.submit(write, url, Instant(NOW + MINUTE), lambda _: ["AM-01"], make, False)
    sleep(A_WHILE)
    assert not other.done()
    go_on.set()
    adoption.result()
    other.result()
    assert seen == [2]
