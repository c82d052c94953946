"""One entry for each of several machines: which are meant, and what may happen meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time
from freezegun.api import FrozenDateTimeFactory

from checkwatch.store import engine
from tests.cli.line import run

SOUTH = ["happened", "power-on", "--area", "South"]


@pytest.fixture(autouse=True)
def clock(monkeypatch: pytest.MonkeyPatch) -> Iterator[FrozenDateTimeFactory]:
    """Seven o'clock of a day ahead; nobody waits long for another writer."""
    monkeypatch.setattr(engine, "PATIENCE", 50)
    engine._sqlite.cache_clear()
    with freeze_time("2040-01-15T07:00:00Z") as frozen:
        yield frozen
    engine._sqlite.cache_clear()


def rows(book: str) -> list[list[str]]:
    """Machine, what and when of each entry in the book."""
    return [line.split(",")[:3] for line in run("export", "--db", book).out.splitlines()[1:]]


@pytest.mark.parametrize(
    "which",
    [
        ["--area", "North"],
        ["--place", "Theatre 1"],
        ["--area", "North", "--kind", "anaesthetic-machine"],
    ],
)
def test_the_list_is_that_of_the_time_at_which_it_happened(small: str, which: list[str]) -> None:
    """AM-01 stood in the north when the power failed there, and was cleared until then."""
    here = ["--db", small]
    assert run(*here, "done", "AM-01", "self-test", "pass", "--by", "kd", "--at", "02:00").code == 0
    assert run(*here, "move", "AM-01", "Theatre 2", "--at", "06:00").code == 0
    assert run(*here, "move", "AM-02", "Theatre 1", "--at", "06:00").code == 0
    said = run(*here, "happened", "power-on", *which, "--at", "03:00", "--yes")
    assert (said.code, said.err) == (0, "1 machine: AM-01\n")
    assert run(*here, "cleared", "AM-01", "--at", "03:30").code == 1
    said = run(*here, "happened", "power-on", *which, "--yes")
    assert (said.code, said.err) == (0, "1 machine: AM-02\n")


def test_an_area_has_the_places_that_it_had_at_the_time(
    small: str, tmp_path: Path, clock: FrozenDateTimeFactory
) -> None:
    places = tmp_path / "places.csv"
    places.write_text("place,place_kind,area,order,with\nTheatre 1,theatre,South,1,\n")
    assert run("--db", small, "enrol", "--places", places, "--yes").code == 0
    clock.tick(3600)
    north = ["--db", small, "happened", "power-on", "--area", "North", "--what-if"]
    assert run(*north, "--at", "06:59").err == "1 machine: AM-01\n"
    assert run(*north, "--at", "07:01").code == 2


def test_while_the_list_is_read_others_can_write_and_the_entries_are_of_then(
    small: str, clock: FrozenDateTimeFactory
) -> None:
    def meanwhile() -> str:
        clock.tick(300)
        assert run("--db", small, "note", "AM-02", "in time").code == 0
        clock.tick(300)
        return "y\n"

    assert run("--db", small, *SOUTH, typed=meanwhile).code == 0
    assert rows(small) == [
        ["AM-02", "note", "2040-01-15T07:05:00Z"],
        *([tag, "power-on", "2040-01-15T07:10:00Z"] for tag in ("AM-02", "AM-03")),
    ]


def test_a_time_that_was_typed_stays_that_of_the_question(
    small: str, clock: FrozenDateTimeFactory
) -> None:
    def past_midnight() -> str:
        clock.move_to("2040-01-16T00:01:00Z")
        return "y\n"

    clock.move_to("2040-01-15T23:59:00Z")
    assert run("--db", small, *SOUTH, "--at", "06:50", typed=past_midnight).code == 0
    assert {at for _, _, at in rows(small)} == {"2040-01-15T06:50:00Z"}


def test_a_list_that_has_changed_meanwhile_is_refused(small: str) -> None:
    def meanwhile() -> str:
        assert run("--db", small, "move", "AM-02", "Theatre 1").code == 0
        return "y\n"

    said = run("--db", small, *SOUTH, typed=meanwhile)
    assert (said.code, said.out) == (2, "")
    assert said.err.endswith("the list has changed: AM-03; nothing was written; run it again\n")
    assert [what for _, what, _ in rows(small)] == ["moved"]


def test_what_would_be_refused_is_not_asked_about(small: str) -> None:
    def nobody() -> str:
        raise AssertionError("it asked")

    said = run("--db", small, "fault", "limit", "--area", "South", typed=nobody)
    assert (said.code, said.err.count("the fault is not described")) == (2, 3)


@pytest.mark.parametrize(("answer", "code"), [("n\n", 2), ("\n", 2), ("yonder\n", 2), ("", 130)])
def test_only_a_yes_writes(small: str, answer: str, code: int) -> None:
    """No line at all is Ctrl-D."""
    assert run("--db", small, *SOUTH, typed=lambda: answer).code == code
    assert rows(small) == []


def test_a_place_that_is_not_said_is_not_every_place(small: str) -> None:
    for empty in (["--place", ""], ["--place", "", "--area", "South"]):
        assert run("--db", small, "happened", "power-on", *empty, "--yes").code in (2, 6)
    assert rows(small) == []


WHAT = "WM-01: power-on ends nothing on a patient warmer"
NOTE = "if it did happen to WM-01, `checkwatch note WM-01 …`"


@pytest.mark.parametrize(
    "words",
    [
        ["happened", "WM-01", "power-on"],
        ["fit", "WM-01", "--happening", "power-on", "--lot", "7A23"],
    ],
)
def test_what_ends_nothing_on_that_kind_of_machine_happened_to_another(
    small: str, words: list[str]
) -> None:
    """Else AM-02 beside it would stay cleared."""
    said = run("--db", small, *words)
    assert said.code == 2
    assert said.err.endswith(f"{WHAT}; did you mean AM-02 or AM-03? {NOTE}\n")
    assert rows(small) == []


def test_a_machine_on_which_it_ends_nothing_is_left_out_of_several_and_told(small: str) -> None:
    said = run("--db", small, "happened", "power-on", "--place", "Theatre 2", "--yes")
    left = "WM-01 is left out: power-on ends nothing on it\n"
    assert (said.code, said.err) == (0, f"2 machines: AM-02, AM-03\n{left}")
    assert [row[0] for row in rows(small)] == ["AM-02", "AM-03"]
    said = run("--db", small, "happened", "power-on", "--kind", "patient-warmer", "--yes")
    assert (said.code, said.out) == (2, "")
    assert "power-on ends nothing on WM-01" in said.err
