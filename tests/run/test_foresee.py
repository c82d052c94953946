"""An outlook reads as the answer that would be computed, whenever it is asked and whatever came
before. There is no source outside docs/meaning.md: a cache is held to what it stands for."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from contextlib import closing
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from checkwatch.answers.book import Book, Question
from checkwatch.answers.cleared import cleared
from checkwatch.core import entry as e
from checkwatch.core.instant import DAY, HOUR, MINUTE, Instant
from checkwatch.run import foresee as run_foresee
from checkwatch.run.foresee import HORIZON, changing, foresee, renew_all
from checkwatch.run.outlook import foreseen
from checkwatch.run.world import ask
from checkwatch.store import engine, journal, migrate
from checkwatch.views import answer
from checkwatch.views.deferred import unpacked
from checkwatch.views.report import plain
from checkwatch.views.words import Here
from tests.laws.adapter import MACHINES, PLACES, World
from tests.laws.random_worlds import worlds

NAMES = [tag for tag, *_ in MACHINES] + [place for place, *_ in PLACES]


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(worlds(), st.data())
def test_what_is_foreseen_reads_as_what_is_computed(world: World, data: st.DataObject) -> None:
    entries: dict[str, list[e.Entry]] = defaultdict(list)
    for entry in world.entries:
        entries[entry.machine].append(entry)
    newest = max(entry.recorded for entry in world.entries)
    book = Book(world.versions, world.told, entries, (), newest)
    start = Instant(newest + data.draw(st.sampled_from((0, 1, HOUR, 3 * DAY))))
    name = data.draw(st.sampled_from(NAMES))
    stretches = foresee(name, book, start)
    assert stretches[-1].until == start + HORIZON
    for at in {start, *_near([stretch.start for stretch in stretches], start, data)}:
        (stretch,) = (stretch for stretch in stretches if stretch.start <= at < stretch.until)
        here = Here(ZoneInfo(stretch.zones.split("\n")[0]), at)
        found = cleared(name, book, Question(at, at))
        computed = plain(answer.cleared(found, here))
        assert plain(unpacked(stretch.report, here, newest)) == computed
        assert stretch.standing == found.decides


def _near(starts: list[Instant], start: Instant, data: st.DataObject) -> list[Instant]:
    """Where one answer follows another, a microsecond to either side, and anywhere."""
    end = start + HORIZON - 1
    cuts = st.sampled_from(starts).flatmap(lambda cut: st.sampled_from((cut - 1, cut, cut + 1)))
    anywhere = st.integers(start, end)
    found = data.draw(st.lists(cuts | anywhere, min_size=4, max_size=12))
    return [Instant(at) for at in found if start <= at <= end]


RULES = """
[rulebook]
title = "invented"
zone = "Europe/London"

[[happening]]
code = "power-on"
title = "Switched on"

[[check]]
code = "self-test"
title = "Full self-test"
kinds = ["am", "kit"]
voided_by = ["power-on"]

  [[check.validity]]
  valid_for = "PT24H"

[[place_kind]]
code = "theatre"
needs = ["am"]

[[place_kind]]
code = "room"
needs = ["kit"]

[[place_kind]]
code = "store"
needs = []
"""

NOW = Instant(1_700_000_000_000_000)

PLACE_NAMES = st.sampled_from([place for place, *_ in PLACES] + ["T2"])


@st.composite
def drafts(draw: st.DrawFn) -> e.Entry:
    """Anything that can be written once the machines are enrolled."""
    common: dict[str, Any] = {"seq": 0, "at": NOW, "recorded": NOW, "note": "a reason"}
    kind = draw(
        st.sampled_from((*(e.Result,) * 4, e.Happening, e.Struck, *(e.Moved,) * 3, None, None))
    )
    if kind is None:
        place, room = draw(PLACE_NAMES), draw(st.just("") | PLACE_NAMES)
        of = draw(st.sampled_from(("theatre", "room", "store", "a kind that nobody knows")))
        return e.PlaceKnown(machine="", place=place, place_kind=of, belongs=room, **common)
    common["machine"] = draw(st.sampled_from([tag for tag, *_ in MACHINES]))
    if kind is e.Result:
        return e.Result(check="self-test", outcome=e.Outcome.PASS, **common)
    if kind is e.Moved:
        return e.Moved(place=draw(PLACE_NAMES), **common)
    if kind is e.Struck:
        return e.Struck(of=draw(st.integers(8, 14)), restores=draw(st.booleans()), **common)
    return e.Happening(code="power-on", **common)


def made(path: Path) -> str:
    """A book with three machines in two places that belong together, and one place apart."""
    url = str(path)
    migrate.create(url)
    common: dict[str, Any] = {"seq": 0, "at": NOW, "recorded": NOW}
    places = [(p, kind, room) for p, kind, room in PLACES] + [("T2", "theatre", "")]
    with changing(url, NOW) as conn:
        first: list[e.Entry] = [e.Adopted(machine="", text=RULES, **common)]
        first += [
            e.PlaceKnown(machine="", place=p, place_kind=kind, belongs=room, **common)
            for p, kind, room in places
        ]
        first += [e.Enrolled(machine=m, kind=k, place=p, **common) for m, k, p in MACHINES]
        journal.append(conn, first, NOW)
    return url


def every_outlook_is_right(url: str, now: Instant) -> None:
    """For each name: there is an outlook, and it says what is computed from the book."""
    for name in [*NAMES, "T2"]:
        asked = ask(url, now, lambda names, name=name: names.concerned(name))  # type: ignore[misc]
        found = cleared(name, asked.book, asked.question)
        report, standing, _ = foreseen(url, name, now) or pytest.fail(f"no outlook of {name}")
        assert (name, plain(report)) == (name, plain(answer.cleared(found, asked.here)))
        assert standing is found.decides


@settings(max_examples=25, deadline=None, derandomize=True)
@given(st.lists(st.tuples(drafts(), st.integers(0, 30)), min_size=1, max_size=8))
def test_whatever_is_written_every_outlook_is_right(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[e.Entry, int]]
) -> None:
    url = made(tmp_path_factory.mktemp("book") / "book.db")
    now = NOW
    for draft, hours in steps:
        now = Instant(now + hours * HOUR + MINUTE)
        with changing(url, now) as conn:
            journal.append(conn, [draft], now)
        every_outlook_is_right(url, now)
    every_outlook_is_right(url, Instant(now + DAY))


def test_what_is_written_past_the_outlooks_silences_them_all(tmp_path: Path) -> None:
    url = made(tmp_path / "book.db")
    with engine.writing(url) as conn:
        journal.append(conn, [e.Note(seq=0, machine="KIT-1", at=NOW, recorded=NOW)], NOW)
    assert all(foreseen(url, name, NOW) is None for name in NAMES)
    with changing(url, NOW) as conn:
        journal.append(conn, [e.Note(seq=0, machine="KIT-1", at=NOW, recorded=NOW)], NOW)
    # Only what this entry touches is foreseen again; the others wait until they are written about.
    assert [name for name in NAMES if foreseen(url, name, NOW)] == ["KIT-1", "T1", "R1"]
    renew_all(url, NOW)
    every_outlook_is_right(url, NOW)


def test_more_names_than_can_be_made_ready_are_left_to_the_next_entry(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_foresee, "MOST", 5)
    url = made(tmp_path / "book.db")
    assert all(foreseen(url, name, NOW) is None for name in NAMES)
    with changing(url, NOW) as conn:
        journal.append(conn, [e.Note(seq=0, machine="KIT-1", at=NOW, recorded=NOW)], NOW)
    assert [name for name in NAMES if foreseen(url, name, NOW)] == ["KIT-1", "T1", "R1"]


def test_an_entry_stands_whatever_is_wrong_with_the_outlooks(tmp_path: Path) -> None:
    url = made(tmp_path / "book.db")
    with closing(sqlite3.connect(url)) as conn, conn:
        conn.execute("DROP TABLE outlook")
    with changing(url, NOW) as conn:
        fault = e.Fault(
            seq=0, machine="AM-01", at=NOW, recorded=NOW, severity=e.Severity.STOP_USE, note="leaks"
        )
        journal.append(conn, [fault], NOW)
    assert foreseen(url, "AM-01", NOW) is None
    asked = ask(url, NOW)
    assert cleared("AM-01", asked.book, asked.question).because[0].forbids is not None


def test_an_answer_ends_where_the_next_one_is_missing(tmp_path: Path) -> None:
    url = made(tmp_path / "book.db")
    with changing(url, NOW) as conn:
        done = e.Result(
            seq=0, machine="AM-01", at=NOW, recorded=NOW, check="self-test", outcome=e.Outcome.PASS
        )
        journal.append(conn, [done], NOW)
    lapsed = Instant(NOW + DAY + HOUR)
    assert foreseen(url, "AM-01", lapsed)
    with closing(sqlite3.connect(url)) as conn, conn:
        conn.execute("DELETE FROM outlook WHERE name = 'AM-01' AND start > ?", (NOW,))
    assert foreseen(url, "AM-01", NOW)
    assert foreseen(url, "AM-01", lapsed) is None


def test_rules_that_begin_later_are_foreseen_for_a_place_without_machines(tmp_path: Path) -> None:
    url = made(tmp_path / "book.db")
    later = Instant(NOW + 2 * DAY)
    with changing(url, NOW) as conn:
        text = RULES.replace("Europe/London", "Asia/Kathmandu").replace(
            'needs = ["am"]', "needs = []"
        )
        journal.append(conn, [e.Adopted(seq=0, machine="", at=later, recorded=NOW, text=text)], NOW)
    for at in (NOW, Instant(later - 1), later, Instant(later + HOUR)):
        every_outlook_is_right(url, at)
