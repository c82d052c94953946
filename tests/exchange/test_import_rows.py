"""What one row does to others: refs, `of`, what a bad row takes with it, what is there already."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest

from checkwatch.core import entry as e
from checkwatch.exchange.logbook import Row
from tests.exchange.department import HELD, NOW, log_rows, nothing, planned, t

HEADING = "machine,what,at,started,outcome,measures,limits,until,place,of,by,decided,note,ref"


def log(*lines: str) -> str:
    """Rows as `AM-01 repair 08:00 key=value …`, all of 10 March 2026."""
    names = HEADING.split(",")
    made = [HEADING]
    for line in lines:
        machine, what, at, *rest = line.split(" ")
        given = dict(part.split("=", 1) for part in rest)
        given |= {"machine": machine, "what": what, "at": f"2026-03-10T{at}" if at else ""}
        made.append(",".join(given.get(name, "") for name in names))
    return "\n".join(made)


def left_out(text: str) -> list[int]:
    """The lines that --reject leaves out."""
    made = planned(text, nothing)
    return [row.line for row in log_rows(text) if row.machine in made.doubtful]


def test_a_bad_row_takes_every_row_of_its_machine_with_it() -> None:
    """What it says may have ended what an earlier one says; other machines go on."""
    text = log(
        "AM-01 self-test 08:00 outcome=pass",
        "AM-02 self-test 08:00 outcome=pass",
        "AM-01 reparation 09:00",
        "AM-01 repair 10:00",
        "AM-02 repair 11:00",
    )
    assert left_out(text) == [2, 4, 5]


def test_a_ref_that_comes_twice_takes_every_row_of_its_machine_with_it() -> None:
    text = log("AM-01 repair 09:00 ref=A", "AM-02 repair 09:00", "AM-01 repair 09:30 ref=A")
    assert left_out(text) == [2, 4]


def test_a_striking_of_nothing_takes_every_row_of_its_machine_with_it() -> None:
    text = log("AM-01 self-test 08:00 outcome=pass", "AM-01 struck 10:00 of=B")
    assert left_out(text) == [2, 3]


@pytest.mark.parametrize("machine", ["", "AM-77"])
def test_a_row_of_which_machine_nobody_knows_stops_the_import(machine: str) -> None:
    assert planned(log("AM-01 repair 08:00", f"{machine} repair 09:00")).stops_at == 3


def test_a_row_that_names_an_entry_of_another_machine_stops_the_import() -> None:
    """Nobody can say which of the two is meant."""
    text = log("AM-01 self-test 08:00 outcome=pass ref=A", "AM-02 struck 10:00 of=A")
    assert planned(text).stops_at == 3


def test_of_names_an_earlier_row_of_the_file_or_an_entry_of_the_book() -> None:
    text = log(
        "AM-01 fault 08:00 outcome=limit note=lamp ref=A",
        "AM-01 fault-closed 09:00 of=A",
        "AM-02 fault-closed 09:00 of=H2",
        "AM-02 fault-closed 09:01",
    )
    assert not planned(text).problems
    assert [row.of_ref for row in log_rows(text) if isinstance(row, Row)] == ["", "A", "H2", ""]


def test_a_row_that_the_book_has_already_is_skipped() -> None:
    held = "AM-01,note,2026-03-02T08:00,,,,,,,,,,old,H1"
    text = f"{HEADING}\n{held}\nAM-01,note,2026-03-02T08:00{',' * 11}"
    made = planned(text)
    assert not made.problems
    assert [line for line in (2, 3) if line in made.skip] == [2]


def test_what_came_ahead_of_the_clock_is_known_again() -> None:
    """It was written as of the clock's time (docs/meaning.md, part 2)."""
    written = replace(HELD[0], at=NOW)
    row = "AM-01,note,2026-03-12T12:01:59,,,,,,,,,,old,H1"
    made = planned(f"{HEADING}\n{row}", lambda _: {"H1": written})
    assert not made.problems
    assert 2 in made.skip
    later = planned(
        f"{HEADING}\n{row}", lambda _: {"H1": replace(written, recorded=t("2026-03-12T11:00"))}
    )
    assert later.problems


def test_a_pass_beyond_the_limits_of_its_measure_is_stored_as_it_was_said() -> None:
    (row,) = log_rows(log("AM-01 leak-test 08:00 outcome=pass measures=leak=301"))
    assert isinstance(row, Row)
    assert row.entry == e.Result(
        seq=0,
        machine="AM-01",
        at=t("2026-03-10T08:00"),
        recorded=t("1970-01-01T01:00"),
        check="leak-test",
        outcome=e.Outcome.PASS,
        measures=(("leak", Decimal(301)),),
    )


@pytest.mark.parametrize(
    "row",
    [
        "AM-01 leak-test 08:00 outcome=limited measures=leak=201",
        "AM-01 leak-test 08:00 outcome=limited measures=leak=60 limits=stiff",
        "AM-01 leak-test 08:00 outcome=fail",
        "AM-01 leak-test 08:00 outcome=stopped",
        "AM-01 self-test 08:00 outcome=pass measures=leak=60",
        "AM-01 self-test 08:00 outcome=pass started=2026-03-10T07:50",
        "AM-01 exception 08:00 until=2026-03-10T12:00 decided=mr note=bleeding",
        "AM-01 moved 08:00 place=Store",
        "AM-01 withdrawn 08:00",
        "AM-09 struck 08:00 of=H3 note=wrong",
        "WM-01 reading 08:00 measures=hours=4120.5",
    ],
)
def test_what_may_be_written_is_taken(row: str) -> None:
    retired = e.Retired(seq=9, machine="AM-09", at=t("2026-03-05T09:00"), recorded=NOW, ref="H3")
    assert planned(log(row), lambda _: {"H3": retired}).problems == []


def test_a_measure_may_carry_its_unit() -> None:
    for cell in ("leak=60 mL/min", "leak=60mL/min", " leak = 60 "):
        (row,) = log_rows(f"{HEADING}\nAM-01,leak-test,2026-03-10T08:00,,pass,{cell}{',' * 8}")
        assert isinstance(row, Row)
        assert row.entry.measures == (("leak", Decimal(60)),)


def test_the_example_is_a_file_without_mistakes() -> None:
    """Its fleet and places; its logbook is imported where the demo is tested."""
    from checkwatch.exchange.fleet import read_fleet
    from checkwatch.exchange.places import agree, read_places
    from tests.exchange.department import ZONE, stream

    folder = Path(__file__).parents[2] / "examples" / "theatres"
    rows, problems = read_fleet(stream((folder / "fleet.csv").read_bytes()), "fleet.csv", ZONE)
    known, found = read_places(stream((folder / "places.csv").read_bytes()), "places.csv")
    assert [*problems, *found, *agree(rows, known, "fleet.csv")] == []
    assert (len(rows), len(known)) == (43, 19)
