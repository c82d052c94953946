"""What is refused says what is wrong and what to type instead, in local time and in plain words."""

from __future__ import annotations

from decimal import Decimal

import pytest
from freezegun import freeze_time

from checkwatch.answers.acceptance import Facts, mistakes_in
from checkwatch.core import entry as e
from checkwatch.core.period import parse_period
from checkwatch.core.rulebook import ForUse
from tests.build import check, enrolled, rules, t, wrote
from tests.cli.line import run

METERED = rules(
    check(
        "filter", validity=(ForUse(amount=100, meter="hours", reading_within=parse_period("P7D")),)
    )
)


@pytest.mark.parametrize("value", ["-1", "-0.5", "1e999999", "1e-999999", "-1e999999", "1e13"])
def test_a_reading_that_no_meter_shows_is_refused(value: str) -> None:
    entry = wrote(e.Reading, "AM-01", "08:00", meter="hours", value=Decimal(value))
    machine = enrolled("AM-01")
    assert isinstance(machine, e.Enrolled)
    (problem,) = mistakes_in(entry, METERED, Facts(machine), (), t("09:00"), "here")
    assert problem.remedy == "read it again"
    assert len(str(problem)) < 100


def refusal(book: str, *words: str, code: int = 2) -> str:
    """What a command is refused with; it says nothing else."""
    said = run("--db", book, *words)
    assert (said.code, said.out) == (code, "")
    return said.err


def test_times_in_refusals_are_local_and_to_the_minute(small: str) -> None:
    with freeze_time("2040-06-01T07:30:15.123456Z"):
        number = run(
            "--db", small, "fault", "AM-01", "limit", "--note", "dim", "--by", "kd", "--json"
        ).document
        assert run("--db", small, "retire", "AM-02").code == 0
    with freeze_time("2040-06-02T07:00:00Z"):
        assert "retired, Fri 1 Jun 2040 08:30 BST; check the tag" in refusal(
            small, "withdraw", "AM-02"
        )
        closed = ["fault-closed", "AM-01", str(number["entries"][0]), "--how", "repaired"]
        closed += ["--at", "yesterday 08:00"]
        assert "that it closes, Fri 1 Jun 2040 08:30 BST; correct" in refusal(small, *closed)
        early = refusal(small, "note", "AM-01", "words", "--at", "2023-07-01T12:00")
        assert "before the machine was commissioned, Mon 1 Jan 2024 00:00 GMT" in early
        late = refusal(small, "note", "AM-01", "words", "--at", "9999-12-31T23:59Z")
        assert "dated Fri 31 Dec 9999 23:59 GMT, which is still to come" in late


@pytest.mark.parametrize("option", [["cleared", "AM-01", "--for"], ["overdue", "--within"]])
def test_a_time_that_is_too_long_is_to_be_shorter(small: str, option: list[str]) -> None:
    assert refusal(small, *option, "P9999Y").endswith("; give a shorter one\n")


def test_a_machine_to_which_nothing_happened(small: str) -> None:
    said = refusal(small, "happened", "am-01")
    assert said == (
        "AM-01: what happened to it is not said; add one of: power-on, case-start, case-end\n"
    )
    assert "which machine is meant" in refusal(small, "happened", "power-on")
    assert "which machine is meant" in refusal(small, "happened", "case-end")
    assert "no machine or place of this name" in refusal(small, "happened", "AM-99", code=6)


@pytest.mark.parametrize(
    ("option", "typed", "there"),
    [
        ("--area", "main theatre", "there is no area 'main theatre'; there are: North, South"),
        ("--area", "", "there is no area ''; there are: North, South"),
        ("--kind", "machine", "'machine'; there are: anaesthetic-machine, patient-warmer"),
    ],
)
def test_no_such_area_or_kind(small: str, option: str, typed: str, there: str) -> None:
    assert there in refusal(small, "happened", "power-on", option, typed, "--yes")


def test_an_area_and_a_kind_may_differ_in_capitals(small: str) -> None:
    which = ["--area", "south", "--kind", "Patient-Warmer"]
    said = run("--db", small, "withdraw", *which, "--yes")
    assert (said.code, said.err) == (0, "1 machine: WM-01\n")


def test_who_names_a_place_is_told_the_machines_there(small: str) -> None:
    assert run("--db", small, "move", "AM-01", "Theatre 2").code == 0
    there = "Theatre 2: is a place; name AM-01, AM-02, AM-03 or WM-01"
    said = refusal(small, "done", "theatre 2", "self-test", "pass", code=6)
    assert said == f"{there}\n"
    said = refusal(small, "happened", "Theatre 2", "power-on", code=6)
    assert said == f"{there}, or use --place for all of them\n"
    said = refusal(small, "return", "Theatre 1", code=6)
    assert said == "Theatre 1: is a place, and no machine stands there; name a machine\n"
    assert refusal(small, "steps", "Theatre 1", "--by", "kd", code=6) == said
    assert refusal(small, "steps", "Theatre 2", "--by", "kd", code=6) == f"{there}\n"
    said = refusal(small, "withdraw", "--place", "AM-01", code=6)
    assert said == "AM-01: is a machine; name it without --place\n"
