"""What is written every day in one act: a case with its check, an entry of the wrong machine, how a
fault ended, a machine's own clock, one thing for many machines."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tests.cli.clocked import RULES, Clocked
from tests.cli.line import run

BETWEEN = """
[[check]]
code = "between-patient"
title = "Between-patient check"
kinds = ["anaesthetic-machine"]
gate = false
voided_by = ["case-end"]
"""

LEAK = ("done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd")
SUCTION = ("done", "AM-02", "suction-test", "pass", "--by", "kd")
CASE = ("happened", "AM-02", "case-start", "--by", "kd")
WRONG = ("--reason", "wrong tag", "--by", "hv")
VALVE = ("fault", "AM-02", "stop-use", "--note", "valve", "--by", "kd")


@pytest.fixture
def suite(clocked: Clocked, tmp_path: Path) -> Clocked:
    """AM-02 with every gate ready; there is a between-patient check, too."""
    (tmp_path / "b").mkdir()
    found = Clocked(tmp_path / "b", clocked.clock, RULES + BETWEEN)
    for words in (LEAK, SUCTION):
        found.at("06:30", *words)
    return found


def entries(clocked: Clocked, machine: str = "AM-02") -> list[Any]:
    """What the log has of a machine."""
    found: list[Any] = run("log", machine, "--json", "--db", clocked.book).document["entries"]
    return found


# A case and the check before it


def test_a_case_on_a_machine_that_is_not_cleared_names_its_exception(suite: Clocked) -> None:
    command = "  checkwatch except AM-02 --reason WHY --decided WHO --until WHEN --by kd\n"
    assert command not in suite.at("07:00", *CASE).out
    suite.at("07:05", "happened", "AM-02", "circuit-change", "--by", "kd")
    assert command in suite.at("07:10", *CASE).out
    said = suite.at("07:11", *CASE[:-1], "k d'e".replace(" ", "")).out
    assert "--by 'kd'\"'\"'e'\n" in said
    excuse = ["--reason", "x", "--decided", "ms", "--until", "PT1H", "--by", "kd"]
    suite.at("07:12", "except", "AM-02", *excuse, code=0)
    assert command not in suite.at("07:13", *CASE).out


def test_a_case_begins_with_the_check_that_was_done_for_it(suite: Clocked) -> None:
    suite.at("07:00", "happened", "AM-02", "case-end", "--by", "kd")
    said = suite.says("07:10", *CASE, "--with", "between-patient", "--note", "list 2", "--ref", "a")
    assert "Now ready: between-patient check." in said
    passed, case = entries(suite)[-2:]
    assert (passed["what"], passed["at"]) == ("between-patient", "2040-01-15T07:10:00Z")
    assert (case["what"], case["at"]) == ("case-start", "2040-01-15T07:10:00Z")
    assert passed["details"]["outcome"] == "pass"
    assert (passed["by"], passed["note"], passed["ref"]) == ("kd", "", "")
    assert (case["by"], case["note"], case["ref"]) == ("kd", "list 2", "a")


def test_a_check_that_was_begun_began_then(suite: Clocked) -> None:
    suite.at("07:00", "done", "AM-02", "between-patient", "begun")
    suite.at("07:05", "happened", "AM-02", "case-end", "--by", "kd")
    said = suite.says("07:10", *CASE, "--with", "between-patient")
    assert "Now ready" not in said
    assert entries(suite)[-2]["details"]["started"] == "2040-01-15T07:00:00Z"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            (*CASE, "--with", "leak-test"),
            "--with: leak-test takes a measure, which is not said here; write it first: "
            "`checkwatch done AM-02 leak-test pass --by WHO --measure leak=NUMBER`\n",
        ),
        (
            ("happened", "AM-02", "case-end", "--by", "kd", "--with", "between-patient"),
            "--with: goes with case-start only: with case-end it is not done yet; when it is, "
            "`checkwatch done AM-02 between-patient pass --by WHO`\n",
        ),
        ((*CASE, "--with", "betwen-patient"), "did you mean"),
    ],
)
def test_both_are_written_or_none(suite: Clocked, words: tuple[str, ...], said: str) -> None:
    before = entries(suite)
    assert said in suite.at("07:10", *words, code=2).err
    assert entries(suite) == before


def test_what_if_says_both_and_writes_none(suite: Clocked) -> None:
    before = entries(suite)
    words = (*CASE, "--with", "between-patient", "--json")
    assert len(suite.at("07:10", *words, "--what-if").document["entries"]) == 2
    assert entries(suite) == before


# An entry that was written about the wrong machine


def test_an_entry_is_moved_to_its_machine_with_its_time_and_its_measures(clocked: Clocked) -> None:
    number = clocked.wrote("07:00", *LEAK, "--started", "06:50", "--note", "hose new")
    said = clocked.says("08:00", "strike", number, "--was", "AM-03", *WRONG)
    assert said.startswith(
        "Entries 7 and 8 written: entry 7 strikes AM-02's leak test, pass, of 07:00 GMT, 1 h ago, "
        "by kd (hose new), entry 6; entry 8 says the same of AM-03. AM-02 is still not cleared"
    )
    assert "AM-03 is still not cleared" in said
    moved = entries(clocked, "AM-03")[-1]
    assert (moved["at"], moved["recorded"]) == ("2040-01-15T07:00:00Z", "2040-01-15T08:00:00Z")
    assert moved["details"]["measures"] == {"leak": 60}
    assert moved["details"]["started"] == "2040-01-15T06:50:00Z"
    assert (moved["by"], moved["note"]) == ("hv", "hose new; moved from AM-02, entry 6, by kd")
    assert clocked.at("08:01", "verify").code == 0


@pytest.mark.parametrize("more", [(), ("--restores",)])
def test_what_it_cost_the_wrong_machine_stays_unless_it_is_restored(
    suite: Clocked, more: tuple[str, ...]
) -> None:
    number = suite.wrote("07:00", *VALVE)
    said = suite.at("07:10", "strike", number, "--was", "AM-03", *WRONG, *more, "--json")
    wrong, right = said.document
    assert (wrong["machine"], right["machine"]) == ("AM-02", "AM-03")
    assert wrong["standing"] == ("cleared" if more else "not-cleared")
    why = suite.at("07:11", "why", "AM-03", code=1).out
    assert "forbids the use of AM-03 (valve; moved from AM-02" in " ".join(why.split())


def test_a_pass_that_is_moved_counts_from_its_own_time_for_what_came_after_it(
    clocked: Clocked,
) -> None:
    clocked.at("06:10", "done", "AM-03", "suction-test", "pass")
    number = clocked.wrote("07:00", *LEAK)
    clocked.at("07:30", "happened", "AM-03", "circuit-change", "--by", "kd")
    clocked.at("08:00", "strike", number, "--was", "AM-03", *WRONG)
    clocked.at("08:01", "cleared", "AM-03", code=1)
    clocked.at("08:02", "cleared", "AM-03", "--at", "07:10", code=0)


@pytest.mark.parametrize(
    ("was", "code", "said"),
    [
        ("AM-02", 2, "entry 6: is about AM-02 already; leave --was out\n"),
        ("Theatre 3", 6, "Theatre 3: is a place; name AM-03\n"),
        ("AM-99", 6, "the book knows no machine or place of this name"),
        ("AM-50", 2, "dated before the machine was commissioned"),
    ],
)
def test_where_it_cannot_be_written_it_is_not_struck(
    clocked: Clocked, was: str, code: int, said: str
) -> None:
    """AM-50 was not there yet."""
    number = clocked.wrote("07:00", *LEAK)
    kind = ("--kind", "anaesthetic-machine", "--place", "Theatre 3")
    clocked.at("07:05", "enrol", "AM-50", *kind) if was == "AM-50" else None
    before = entries(clocked)
    assert said in clocked.at("08:00", "strike", number, "--was", was, *WRONG, code=code).err
    assert entries(clocked) == before


def test_the_end_of_another_machine_s_fault_cannot_be_moved(clocked: Clocked) -> None:
    fault = clocked.wrote("07:00", *VALVE)
    closed = clocked.wrote(
        "07:10", "fault-closed", "AM-02", fault, "--how", "repaired", "--by", "hv"
    )
    said = clocked.at("07:20", "strike", closed, "--was", "AM-03", *WRONG, code=2)
    assert "closes a fault of AM-02, which AM-03 has not; strike it, and" in said.err
    enrolled = str(entries(clocked)[0]["entry"])
    said = clocked.at("07:20", "strike", enrolled, "--was", "AM-03", *WRONG, code=2)
    assert said.err == f"entry {enrolled}: is AM-02's own: enrolled; leave --was out\n"


# A machine's own clock


@pytest.mark.parametrize(
    ("at", "shown", "seconds", "told"),
    [
        ("07:10", "07:10", 0, ""),
        ("07:10", "07:14", 240, ""),
        ("07:10", "8:12", 3720, "1 h 2 min ahead of ours"),
        ("07:10", "07:05", -300, "5 min behind ours"),
        ("06:10", "23:50", -22800, "6 h 20 min behind ours"),
        ("07:10", "2039-01-15T07:10", -31536000, "365 d behind ours"),
        ("07:10", "07:12:30", 150, ""),
    ],
)
def test_the_machine_s_clock_is_compared_and_ours_counts(
    clocked: Clocked, at: str, shown: str, seconds: int, told: str
) -> None:
    for words in (SUCTION, (*CASE[:2], "circuit-change", "--by", "kd"), CASE):
        said = clocked.says(at, *words, "--machine-clock", shown)
        entry = entries(clocked)[-1]
        assert (entry["clock_offset"], entry["at"]) == (seconds, f"2040-01-15T{at}:00Z")
        sentence = f"The clock of AM-02 is {told}, which counts: have it set."
        assert (sentence in said) == bool(told), said


def test_seconds_that_the_machine_does_not_show_are_not_counted(clocked: Clocked) -> None:
    clocked.clock.move_to("2040-01-15T07:10:59Z")
    run(*CASE, "--machine-clock", "07:15", "--db", clocked.book)
    assert entries(clocked)[-1]["clock_offset"] == 300


def test_a_clock_that_nobody_set_back_in_autumn_is_an_hour_ahead(clocked: Clocked) -> None:
    """Walls show 01:30 for the second time; it goes on by summer time."""
    clocked.at("2040-10-28T01:30", *CASE, "--machine-clock", "02:30")
    assert entries(clocked)[-1]["clock_offset"] == 3600


@pytest.mark.parametrize("shown", ["", "25:00", "noon", "2040-01-15", "07:10Z", "2040-13-01T07:00"])
def test_what_no_clock_shows_is_refused(clocked: Clocked, shown: str) -> None:
    said = clocked.at("07:10", *CASE, "--machine-clock", shown, code=2)
    assert said.err.startswith(f"--machine-clock: '{shown}' is no time; type it as the machine")


def test_several_machines_have_several_clocks(clocked: Clocked) -> None:
    words = ("happened", "circuit-change", "--kind", "anaesthetic-machine", "--by", "kd", "--yes")
    said = clocked.at("07:10", *words, "--machine-clock", "07:10", code=2)
    assert said.err.startswith("--machine-clock: several machines have several clocks")


# How a fault ended, and what is owed before use


@pytest.mark.parametrize("how", ["repaired", "no-fault-found"])
def test_how_a_fault_ended_is_kept_and_what_is_owed_before_use_is_listed(
    suite: Clocked, how: str
) -> None:
    fault = suite.wrote("07:00", *VALVE)
    said = suite.says("07:30", "fault-closed", "AM-02", fault, "--how", how, "--by", "hv")
    assert "Owed before use: leak test and suction test." in said
    assert "Owed besides: full self-test, fan filter and between-patient check." in said
    assert entries(suite)[-1]["details"] == {"of": int(fault), "how": how}


def test_a_return_lists_what_is_owed_before_use(suite: Clocked) -> None:
    suite.at("07:00", "withdraw", "AM-02", "--by", "kd")
    assert "Owed before use: leak test" in suite.says("07:30", "return", "AM-02", "--by", "hv")


def test_a_fault_that_is_accepted_stays_as_a_limit(suite: Clocked) -> None:
    fault = suite.wrote("07:00", *VALVE)
    words = ("fault-closed", "AM-02", fault, "--how", "accepted", "--by", "hv", "--ref", "j1")
    said = suite.at("07:30", *words, "--limit", "no low flow", "--note", "job 1", "--json")
    assert said.document["limits"] == ["no low flow"]
    closed, limit = entries(suite)[-2:]
    assert (closed["what"], closed["note"], closed["ref"]) == ("fault-closed", "job 1", "j1")
    assert (limit["what"], limit["note"], limit["ref"]) == ("fault", "no low flow", "")
    for words in (LEAK, SUCTION):
        suite.at("07:40", *words)
    suite.at("07:41", "cleared", "AM-02", code=4)


@pytest.mark.parametrize(
    ("more", "said"),
    [
        (("8", "--how", "accepted"), "--limit: a fault that is accepted limits the machine"),
        (("8", "--how", "accepted", "--limit", " "), "--limit: a fault that is accepted"),
        (("--how", "accepted", "--limit", "x"), "--how: which fault is accepted is not said"),
        (("8", "--how", "repaired", "--limit", "x"), "--limit: goes with --how accepted only"),
        (("8", "--limit", "x"), "--how: is missing"),
        (("7", "--how", "accepted", "--limit", "x"), "what it closes is no fault of this machine"),
    ],
)
def test_a_limit_and_what_is_accepted_come_together_or_not_at_all(
    suite: Clocked, more: tuple[str, ...], said: str
) -> None:
    suite.at("07:00", *VALVE)
    before = entries(suite)
    assert said in suite.at("07:30", "fault-closed", "AM-02", *more, "--by", "hv", code=2).err
    assert entries(suite) == before


# Exceptions in a row

USE = ("except", "AM-02", "--reason", "airway", "--decided", "ms", "--until", "PT1H", "--by", "kd")


def test_an_exception_that_is_not_the_first_says_so_and_since_when(suite: Clocked) -> None:
    suite.at("07:00", "happened", "AM-02", "circuit-change", "--by", "kd")
    assert "in a row" not in suite.says("07:10", *USE)
    said = suite.says("09:10", *USE)
    assert (
        "This exception is the second in a row on AM-02: gates unpaid since 07:00 GMT, 2 h 10 min "
        "ago." in said
    )
    document = suite.at("11:10", *USE, "--json").document
    assert document["exceptions_in_a_row"] == [9, 10, 11]
    why = " ".join(suite.at("12:30", "why", "AM-02", code=1).out.split())
    assert "exceptions unpaid, 3 in a row (entries 9, 10 and 11)" in why
    first, *_ = suite.at("12:30", "open", "--json", code=1).document["matters"]
    assert (first["exceptions"], first["excused_until"]) == ([9, 10, 11], None)


def test_after_the_debt_is_paid_the_next_one_is_the_first(suite: Clocked) -> None:
    suite.at("07:00", "happened", "AM-02", "circuit-change", "--by", "kd")
    suite.at("07:10", *USE)
    suite.at("07:30", *LEAK)
    suite.at("08:00", "happened", "AM-02", "circuit-change", "--by", "kd")
    assert "in a row" not in suite.says("08:10", *USE)
    assert "second in a row" in suite.says("09:00", *USE, "--at", "07:20"), "as of its own time"


# One thing for many machines


def test_machines_that_fared_alike_are_told_of_together(small: str) -> None:
    both = ("AM-01", "AM-02", "AM-03")
    for tag in both:
        assert run("done", tag, "self-test", "pass", "--by", "kd", "--db", small).code == 0
    words = ("happened", "power-on", "--kind", "anaesthetic-machine", "--by", "kd", "--yes")
    foreseen = " ".join(run(*words, "--db", small, "--what-if").out.split())
    assert "AM-01, AM-02 and AM-03: each would be not cleared: its full self-test" in foreseen
    said = " ".join(run(*words, "--db", small).out.split())
    assert "AM-01, AM-02 and AM-03: each is now not cleared" in said
    assert said.count("clears it") == 1
    assert "Theatre 1 and Theatre 2: each is now not cleared." in said


def test_a_safety_notice_concerns_a_model(small: str) -> None:
    words = ("fault", "limit", "--model", "TYPE a", "--note", "notice 7", "--by", "kd", "--yes")
    said = run(*words, "--db", small, "--json")
    assert (said.code, said.err) == (0, "3 machines: AM-01, AM-02, AM-03\n")
    assert [one["limits"] for one in said.document] == [["notice 7"]] * 3
    said = run("fault", "limit", "--model", "type B", "--note", "x", "--by", "kd", "--db", small)
    assert (said.code, said.err) == (
        2,
        "--model: there is no model 'type B'; there are: type A, type W\n",
    )


def test_a_check_is_not_done_on_several_machines_at_once(suite: Clocked) -> None:
    before = entries(suite)
    words = ("happened", "case-start", "--kind", "anaesthetic-machine", "--by", "kd", "--yes")
    said = suite.at("07:10", *words, "--with", "between-patient", code=2)
    assert said.err == (
        "--with: a check is done on one machine after the other; name one machine\n"
    )
    assert entries(suite) == before


def test_one_ref_is_not_given_to_several_entries(suite: Clocked) -> None:
    words = ("fault", "limit", "--kind", "anaesthetic-machine", "--note", "notice 7", "--yes")
    said = suite.at("07:10", *words, "--ref", "k1", "--by", "kd", code=2)
    assert said.err == "--ref: one ref is one entry's; leave it out, or name one machine\n"
    suite.at("07:11", *words[:1], "AM-02", "limit", "--note", "n", "--ref", "k1", "--by", "kd")
