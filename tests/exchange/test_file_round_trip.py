"""What is written as a file is read back to the same entries."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import replace
from decimal import Decimal

from hypothesis import given, settings
from hypothesis import strategies as st

from checkwatch.core import entry as e
from checkwatch.core.instant import HOUR, MINUTE, Instant
from checkwatch.exchange.fleet import read_fleet
from checkwatch.exchange.logbook import Row
from checkwatch.exchange.places import read_places
from checkwatch.exchange.write import write_fleet, write_logbook, write_places
from tests.exchange.department import NOW, PLACES, ZONE, log_rows, nothing, planned, stream, t

#: Any text that a book can hold: also formulas, quotation marks, line ends and commas.
TEXT = st.text(st.characters(exclude_characters="\0", codec="utf-8"), max_size=8) | st.sampled_from(
    ["=1+1", '"', '""', "a,b", "\r", "\n", "\r\n", " x ", "\ufeff", "'"]
)
REASON = TEXT.filter(str.strip)
NAME = st.text(st.characters(codec="utf-8"), min_size=1, max_size=8).filter(
    lambda name: name == name.strip() and name.isprintable()
)
LIMIT = REASON.map(str.strip).filter(lambda text: " | " not in f" {text} ")
NUMBER = st.decimals(0, 2000, allow_nan=False, places=3).filter(lambda d: d.is_finite())
WHEN = st.integers(t("2026-03-01T08:00"), NOW).map(Instant)


@st.composite
def drafts(draw: Callable[..., object]) -> dict[str, object]:
    common = {"machine": "AM-01", "at": draw(WHEN), "by": draw(TEXT), "note": draw(REASON)}
    return {"seq": 0, "recorded": Instant(0), **common}


def other(kind: type[e.Entry], **own: st.SearchStrategy[object]) -> st.SearchStrategy[e.Entry]:
    return st.builds(
        lambda common, more: kind(**common, **more), drafts(), st.fixed_dictionaries(own)
    )


MEASURES = NUMBER.map(lambda value: (("leak", value),))
RESULT = other(
    e.Result,
    check=st.sampled_from(["self-test", "leak-test"]),
    outcome=st.just(e.Outcome.LIMITED),
    measures=MEASURES,
    limits=st.lists(LIMIT, min_size=1, max_size=3).map(tuple),
) | other(
    e.Result,
    check=st.sampled_from(["self-test", "leak-test"]),
    outcome=st.sampled_from([o for o in e.Outcome if o is not e.Outcome.LIMITED]),
    measures=MEASURES,
)
STARTED = st.builds(
    lambda result, earlier: replace(result, started=Instant(result.at - earlier)),
    RESULT,
    st.integers(0, HOUR),
)
EXCEPTION = st.builds(
    lambda common, lasts, decided: e.EmergencyUse(
        **common, until=Instant(common["at"] + lasts), decided=decided
    ),
    drafts(),
    st.integers(1, 4 * HOUR),
    REASON,
)
PLAIN = (e.Retired, e.Withdrawn, e.Returned, e.CaseStart, e.CaseEnd, e.Note)
ENTRY = st.one_of(
    RESULT,
    STARTED,
    EXCEPTION,
    *(other(kind) for kind in PLAIN),
    other(e.Happening, code=st.just("repair")),
    other(e.Moved, place=st.sampled_from(sorted(PLACES))),
    other(e.Fault, severity=st.sampled_from(e.Severity)),
    other(e.FaultClosed),
    other(e.Reading, meter=st.just("hours"), value=NUMBER),
)


def numbered(entries: list[e.Entry]) -> list[e.Entry]:
    """With numbers and refs; each fault is closed, and each entry struck in the end."""
    first = [replace(entry, seq=n, ref=f"r{n}") for n, entry in enumerate(entries, 1)]
    last: list[e.Entry] = []
    for entry in first:
        common = {"machine": entry.machine, "at": NOW, "recorded": Instant(0), "note": "why"}
        if isinstance(entry, e.Fault):
            last.append(e.FaultClosed(seq=0, of=entry.seq, **common))
        last.append(e.Struck(seq=0, of=entry.seq, restores=entry.seq % 2 == 0, **common))
    start = len(first) + 1
    return first + [replace(entry, seq=n, ref=f"r{n}") for n, entry in enumerate(last, start)]


def read_back(text: str) -> list[e.Entry]:
    """The entries of a file, numbered in its order, with `of` as a number again."""
    numbers: dict[str, int] = {}
    found: list[e.Entry] = []
    for number, row in enumerate(log_rows(text), 1):
        assert isinstance(row, Row), row
        entry = replace(row.entry, seq=number)
        if row.of_ref:
            entry = replace(entry, of=numbers[row.of_ref])
        numbers[entry.ref] = number
        found.append(entry)
    return found


@given(st.lists(ENTRY, max_size=4))
@settings(max_examples=200, deadline=None)
def test_an_exported_logbook_is_read_back_to_the_same_entries(entries: list[e.Entry]) -> None:
    book = numbered(entries)
    written = io.StringIO(newline="")
    write_logbook(book, written, lambda seq: book[seq - 1].ref)
    assert planned(written.getvalue(), nothing).problems == []
    assert read_back(written.getvalue()) == book


@given(st.dictionaries(NAME, st.tuples(NAME, TEXT, TEXT, NAME, WHEN), max_size=4))
@settings(max_examples=100, deadline=None)
def test_an_exported_fleet_is_read_back(machines: dict[str, tuple[str, ...]]) -> None:
    fleet = [
        e.Enrolled(
            seq=0, machine=tag, at=at, recorded=Instant(0), kind=k, model=m, serial=s, place=p
        )
        for tag, (k, m, s, p, at) in machines.items()
    ]
    written = io.StringIO(newline="")
    write_fleet(fleet, written, {})
    rows, problems = read_fleet(stream(written.getvalue()), "f", ZONE)
    assert problems == []
    assert [row.enrolled for row in rows] == fleet


@given(st.dictionaries(NAME, st.tuples(NAME, TEXT, st.integers(-999, 999), NAME), max_size=4))
@settings(max_examples=100, deadline=None)
def test_exported_places_are_read_back(places: dict[str, tuple[str, str, int, str]]) -> None:
    known = [
        e.PlaceKnown(
            seq=0,
            machine="",
            at=Instant(0),
            recorded=Instant(0),
            place=name,
            place_kind=kind,
            area=area,
            order=order,
            belongs=belongs,
        )
        for name, (kind, area, order, belongs) in places.items()
    ]
    written = io.StringIO(newline="")
    write_places(known, written)
    assert read_places(stream(written.getvalue()), "p") == (known, [])


def test_numbers_are_written_without_exponents() -> None:
    fail = e.Result(
        seq=1,
        machine="AM-01",
        at=NOW,
        recorded=NOW + MINUTE,
        check="leak-test",
        outcome=e.Outcome.FAIL,
        measures=(("leak", Decimal("1E+3")),),
        ref="r",
    )
    written = io.StringIO(newline="")
    write_logbook([fail], written, lambda _: "r")
    assert ",leak=1000," in written.getvalue()
