"""`fit` writes what a label says, or refuses it and says what to type; `lot` finds it again.

Items, lots and GTINs are invented; as numbers of 13 digits the GTINs begin with 2, which GS1 gives
to no maker (GS1 General Specifications, restricted circulation, from memory).
"""

from __future__ import annotations

import csv
import io
import os
import re
import shlex
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pexpect
import pytest
from freezegun import freeze_time

from tests.cli.clocked import FLEET, RULES, Clocked
from tests.cli.line import PROGRAM, run

#: A leak test lasts a day, and no longer than the absorbent is good.
ITEMS = RULES.replace(
    'valid_for = "PT24H"\n  [[check.measure]]',
    'valid_for = "PT24H"\n  [[check.validity]]\n  valid_until_expiry = "absorbent-change"\n'
    "  [[check.measure]]",
) + (
    """
[[item]]
title = "Absorbent, fine"
gtins = ["02000000000015"]
happening = "absorbent-change"

[[item]]
title = "Breathing circuit"
gtins = ["02000000000022"]
happening = "circuit-change"
"""
)
LABEL = "(01)02000000000015(17)401231(10)7A23"
SENT = "010200000000001510"
LEAK = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "kd"]


@pytest.fixture
def fitting(tmp_path: Path) -> Iterator[Clocked]:
    """AM-02 and AM-03 on the morning of 15 January 2040, with items in the rules."""
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        yield Clocked(tmp_path, clock, ITEMS)


def rows(clocked: Clocked) -> list[dict[str, str]]:
    """The book's entries as the logbook file has them, without empty cells."""
    text = run("--db", clocked.book, "export").out
    return [{k: v for k, v in row.items() if v} for row in csv.DictReader(io.StringIO(text))]


def command(message: str, **put: str) -> list[str]:
    """The words of the command that a refusal says to type, with its placeholders filled."""
    found = re.search(r"`checkwatch ([^`]*)`", message)
    assert found, message
    return [put.get(word, word) for word in shlex.split(found[1])]


# By its label


@pytest.mark.parametrize(
    ("scan", "says"),
    [
        (LABEL, {"lot": "7A23", "expiry": "2040-12-31"}),
        (f"{SENT}7A23\x1d21SN0042", {"lot": "7A23", "serial": "SN0042"}),
        (f"]d217401231{SENT}7A23", {"lot": "7A23", "expiry": "2040-12-31"}),
        ("2000000000015", {}),
    ],
    ids=["printed", "sent", "DataMatrix", "EAN-13"],
)
def test_the_label_becomes_the_happening_of_its_item(
    fitting: Clocked, scan: str, says: dict[str, str]
) -> None:
    said = fitting.at("07:00", "fit", "am-02", scan, "--by", "kd")
    assert said.err.startswith("AM-02: absorbent, fine")
    written = rows(fitting)[-1]
    label = {key: written.get(key) for key in ("gtin", "lot", "serial", "expiry")}
    assert label == {"gtin": "02000000000015", "lot": None, "serial": None, "expiry": None} | says
    assert (written["machine"], written["what"], written["by"]) == (
        "AM-02",
        "absorbent-change",
        "kd",
    )


def test_it_says_what_it_voided_and_until_when_the_next_pass_lasts(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", LABEL.replace("401231", "400115"))
    fitting.at("07:10", *LEAK)
    assert "This voided: leak test." in fitting.says("07:30", "fit", "AM-02", LABEL)
    said = fitting.at("07:40", *LEAK, "--json").document
    assert said["readied"][0]["until"] == "2040-01-16T07:40:00Z"


def test_a_pass_ends_with_the_day_of_expiry(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", LABEL.replace("401231", "400115"))
    said = fitting.at("07:10", *LEAK, "--json").document
    assert said["readied"][0]["until"] == "2040-01-16T00:00:00Z"


def test_what_has_expired_since_it_was_fitted_gives_a_pass_no_time(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", LABEL.replace("401231", "400115"))
    said = fitting.says("2040-01-16T07:00", *LEAK)
    assert "it was over at once; what is fitted was good to 15 Jan 2040." in said


def test_what_a_person_should_compare_is_told_beside_the_answer(fitting: Clocked) -> None:
    said = fitting.at("07:00", "fit", "AM-02", LABEL.replace("401231", "401200"), "--json")
    assert said.document["machine"] == "AM-02"
    assert "look: (17) names no day of the month; the last one is taken, 2040-12-31" in said.err


def test_what_the_book_will_not_know_is_told(fitting: Clocked) -> None:
    said = fitting.at("07:00", "fit", "AM-02", "2000000000015")
    assert "look: no lot is known of it" in said.err
    assert "no expiry is known of it, and no pass of the leak test counts" in said.err
    assert "look:" not in fitting.at("07:05", "fit", "AM-02", LABEL).err
    said = fitting.at("07:10", "fit", "AM-02", "(01)02000000000022(10)C7")
    assert "look:" not in said.err, "no check goes by the expiry of a circuit"
    said = fitting.at("07:20", "fit", "AM-02", "(01)02000000000022(21)S1")
    assert "look:" not in said.err, "it is known by its serial number"


def test_what_if_writes_nothing(fitting: Clocked) -> None:
    said = fitting.at("07:00", "fit", "AM-02", LABEL, "--what-if")
    assert "Nothing is written" in said.out
    assert rows(fitting) == []


def test_what_the_label_does_not_say_may_be_typed(fitting: Clocked) -> None:
    beside = ["--lot", " 7A23 ", "--expiry", "2040-12-31", "--serial", "S1"]
    fitting.at("07:00", "fit", "AM-02", "2000000000015", *beside)
    written = rows(fitting)[-1]
    assert (written["lot"], written["expiry"], written["serial"]) == ("7A23", "2040-12-31", "S1")
    fitting.at("07:10", "fit", "AM-02", LABEL, *beside[:4])
    fitting.at("07:20", "fit", "AM-02", "2000000000015", "--expiry", "2090-12-31")


# Refused


def refusal(clocked: Clocked, *words: str, time: str = "07:00") -> str:
    """What is said instead of writing; nothing is written."""
    before = rows(clocked)
    said = clocked.at(time, "fit", "AM-02", *words, code=2)
    assert rows(clocked) == before
    return said.err


def test_an_expired_item_is_refused_and_can_be_written_as_it_is(fitting: Clocked) -> None:
    """What is in the machine all the same must be in the book; a check by its expiry then waits."""
    said = refusal(fitting, LABEL.replace("401231", "400114"))
    assert "label: it has expired: it was good to 14 Jan 2040; take another one" in said
    fitting.at("07:10", *command(said))
    written = rows(fitting)[-1]
    assert (written["lot"], written["gtin"]) == ("7A23", "02000000000015")
    assert written["note"] == "expired 2040-01-14"
    assert "expiry" not in written
    hint = "it was over at once; look whether a label is missing: no expiry is known of it."
    assert hint in fitting.says("07:30", *LEAK)


def test_an_expired_item_that_was_typed_is_refused_too(fitting: Clocked) -> None:
    words = ["--happening", "absorbent-change", "--serial", "S 1", "--expiry", "2040-01-14"]
    said = refusal(fitting, *words)
    fitting.at("07:10", *command(said))
    written = rows(fitting)[-1]
    assert (written["serial"], written["note"]) == ("S 1", "expired 2040-01-14")
    assert not {"gtin", "lot", "expiry"} & written.keys()


@pytest.mark.parametrize(("time", "code"), [("2040-07-01T22:30", 0), ("2040-07-01T23:30", 2)])
def test_the_day_is_that_of_the_entry_in_the_suite(fitting: Clocked, time: str, code: int) -> None:
    """In summer London is an hour ahead: at 23:30 by UTC the first of July is over there."""
    label = LABEL.replace("401231", "400701")
    fitting.at(time, "fit", "AM-02", label, code=code)
    fitting.at("2040-07-02T08:00", "fit", "AM-02", label, "--at", "2040-07-01T12:00")


def test_a_label_with_faults_is_refused_with_each_of_them(fitting: Clocked) -> None:
    said = refusal(fitting, "(01)02000000000016(17)401331")
    assert "label: (01): the check digit of '02000000000016' does not fit" in said
    assert "label: (17): '401331' is no day of the calendar" in said
    words = command(said, CODE="absorbent-change", LOT="7A23")
    assert "YYYY-MM-DD" in words, "nobody types an example's day by mistake"
    fitting.at("07:10", *command(said, CODE="absorbent-change", **{"YYYY-MM-DD": "2040-12-31"}))
    assert rows(fitting)[-1]["expiry"] == "2040-12-31"


def test_an_item_that_the_rules_do_not_know_is_named_by_a_person(fitting: Clocked) -> None:
    said = refusal(fitting, "(01)02000000000039(17)401231(10)a'b")
    assert "02000000000039 is no item of the rulebook, which has 'Absorbent, fine' and" in said
    assert "CODE one of absorbent-change, circuit-change" in said
    fitting.at("07:10", *command(said, CODE="circuit-change"))
    written = rows(fitting)[-1]
    assert (written["what"], written["gtin"]) == ("circuit-change", "02000000000039")
    assert written["lot"] == "a'b"


def test_rules_without_items_let_a_person_name_any_happening(clocked: Clocked) -> None:
    said = refusal(clocked, LABEL)
    assert "02000000000015 is no item of the rulebook, which has none" in said
    assert "CODE one of circuit-change, absorbent-change" in said
    clocked.at("07:10", *command(said, CODE="absorbent-change"))
    assert rows(clocked)[-1]["lot"] == "7A23"


def test_where_items_have_one_happening_the_command_names_it(tmp_path: Path) -> None:
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        clocked = Clocked(tmp_path, clock, ITEMS[: ITEMS.rindex("[[item]]")])
        said = refusal(clocked, "(01)02000000000022(10)C7")
    assert said.endswith(" --happening absorbent-change`\n")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "AM-02: what was fitted is not said; type its label, or - and then scan it"),
        (["--lot", "7A23"], "AM-02: what was fitted is not said; type its label"),
        ([""], "label: is empty"),
        (["-"], "label: nothing came from standard input"),
        ([LABEL, "--lot", "8B11"], "--lot: '8B11' is typed, and the label says '7A23'"),
        ([LABEL, "--expiry", "2041-01-01"], "--expiry: '2041-01-01' is typed, and the label says"),
        ([LABEL, "--expiry", "31.12.40"], "--expiry: '31.12.40' is no day; write it like 2027-12"),
        (["2000000000015", "--expiry", "2404-12-31"], "--expiry: 2404-12-31 is more than 50 years"),
        (["2000000000015", "--expiry", "2039-12-31"], "label: it has expired: it was good to 31"),
        (["2000000000015", "--lot", "7\x1b[2J"], r"--lot: the lot '7\x1b[2J' holds a character"),
        (["2000000000015", "--serial", "x" * 65], "--serial: the serial is longer than 64"),
        (
            [LABEL, "--happening", "circuit-change"],
            "label is that of 'Absorbent, fine', whose fitting",
        ),
        (["--happening", "absorbent-chang"], "the rulebook has no happening 'absorbent-chang'"),
    ],
)
def test_what_cannot_be_meant_is_refused(fitting: Clocked, words: list[str], said: str) -> None:
    told = refusal(fitting, *words)
    assert said in told
    assert "; " in told, "and what to do instead"


def test_a_place_and_an_unknown_machine_are_refused(fitting: Clocked) -> None:
    said = fitting.at("07:00", "fit", "Theatre 2", LABEL, code=6)
    assert said.err == "Theatre 2: is a place; name AM-02\n"
    assert "did you mean AM-02" in fitting.at("07:00", "fit", "AM-2", LABEL, code=6).err


# The same label once more


@pytest.mark.parametrize(
    ("label", "again", "code"),
    [
        (LABEL, "07:20", 2),
        (LABEL, "08:20", 0),
        (f"{LABEL}(21)SN1", "07:20", 2),
        (f"{LABEL}(21)SN1", "08:20", 2),
        (f"{LABEL}(21)SN1", "2040-01-17T08:20", 2),
    ],
)
def test_a_label_scanned_twice_is_written_once(
    fitting: Clocked, label: str, again: str, code: int
) -> None:
    fitting.at("07:10", "fit", "AM-02", label)
    before = len(rows(fitting))
    said = fitting.at(again, "fit", "AM-02", label, code=code)
    assert (len(rows(fitting)) == before) is (code == 2)
    if code:
        assert "already fitted since " in said.err
        assert said.err.endswith("Write it again? nobody is there to answer; add --yes\n")
        assert "look: already fitted" in fitting.at(again, "fit", "AM-02", label, "--what-if").err
        fitting.at(again, "fit", "AM-02", label, "--yes")
        assert len(rows(fitting)) == before + 1


def test_another_item_another_machine_and_one_that_was_struck_are_not_asked_about(
    fitting: Clocked,
) -> None:
    label = f"{LABEL}(21)SN1"
    entry = fitting.wrote("07:10", "fit", "AM-02", label)
    fitting.at("07:11", "fit", "AM-03", label)
    fitting.at("07:12", "fit", "AM-02", label.replace("SN1", "SN2"))
    fitting.at("08:20", "fit", "AM-02", label)
    fitting.at("08:21", "strike", entry, "--reason", "twice")
    happened = ["happened", "AM-02", "absorbent-change"]
    fitting.at("08:22", *happened)
    fitting.at("08:22", *happened)


@pytest.mark.parametrize(("answer", "code", "more"), [("y", 0, 1), ("n", 2, 0), ("\x04", 130, 0)])
def test_at_a_terminal_it_is_asked(now: str, answer: str, code: int, more: int) -> None:
    words = ["--db", now, "fit", "AM-02", LABEL]
    assert run(*words).code == 0
    before = run("--db", now, "export").out.count("absorbent-change")
    program = pexpect.spawn(PROGRAM[0], [*PROGRAM[1:], *words], encoding="utf-8")
    program.expect_exact("Write it again? [y/N]: ", timeout=30)
    program.send(answer if answer == "\x04" else f"{answer}\r")
    program.expect(pexpect.EOF, timeout=30)
    program.close()
    after = run("--db", now, "export").out.count("absorbent-change")
    assert (program.exitstatus, after - before) == (code, more)


# One serial number, two machines


def test_a_serial_number_on_two_machines_at_once_is_told(fitting: Clocked) -> None:
    label = "(01)02000000000022(21)V_9%"
    fitting.at("07:10", "fit", "AM-03", label)
    said = fitting.at("07:20", "fit", "AM-02", label, "--what-if").err
    assert "look: by the book the item with this serial number is on AM-03 (entry " in said
    assert "is on AM-03" in fitting.at("07:30", "fit", "AM-02", label).err
    fitting.at("07:40", "fit", "AM-03", label.replace("V_9%", "V8"))
    assert "by the book" not in fitting.at("07:50", "fit", "AM-02", label, "--yes").err, (
        "it is gone there"
    )
    assert "by the book" not in fitting.at("07:55", "fit", "AM-03", label.replace("22(", "15(")).err


# Which machines have a lot


def test_a_recall_finds_each_machine_and_says_of_which_nobody_knows(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", LABEL)
    fitting.at("07:10", "move", "AM-02", "Theatre 3")
    fitting.at("07:20", "fit", "AM-02", LABEL.replace("7A23", "7a-23"))
    fitting.at("07:30", "fit", "AM-02", LABEL)
    fitting.at("07:40", "happened", "AM-03", "absorbent-change")
    said = fitting.at("08:00", "lot", "7A23").out
    assert (
        said
        == """\
By the book 1 machine has lot 7A23: absorbent, fine, good to 31 Dec 2040.
Spelt otherwise, and perhaps the same: "7a-23". Ask for that, too.

machine  place      fitted     until        what
AM-02    Theatre 3  07:30 GMT  still there  entry 9
AM-02    Theatre 3  07:00 GMT  07:20 GMT    before in Theatre 2, entry 6

Not known: of 1 machine the book does not say which lot was fitted since 07:00
GMT. It may have it, or have had it.
machine  place      from                      until        what is written
AM-03    Theatre 3  Mon 1 Jan 2024 00:00 GMT  still there  absorbent-change
                                                           without a lot, entry
                                                           10

The book knows what was written. It does not know what lies in a store; and of a
machine that holds two of a kind, what is said to be gone may be there still:
look there, too.
"""
    )


def test_of_a_lot_of_several_items_each_says_what_it_is(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", "(01)02000000000022(10)7A23(21)S1")
    fitting.at("07:10", "fit", "AM-03", LABEL)
    said = fitting.says("08:00", "lot", "7A23")
    assert "By the book 2 machines have lot 7A23. machine" in said
    assert "still there breathing circuit, serial S1, entry 6" in said
    assert "still there absorbent, fine, good to 31 Dec 2040, entry 7" in said
    entry = fitting.wrote("08:10", "strike", "7", "--reason", "wrong machine")
    assert entry == "8"
    said = fitting.says("08:20", "lot", "7A23")
    assert "good to 31 Dec 2040, entry 7, struck as written in error" in said


def test_a_lot_as_json(fitting: Clocked) -> None:
    fitting.at("07:00", "fit", "AM-02", LABEL)
    fitting.at("07:20", "fit", "AM-02", "2000000000015")
    document = fitting.at("08:00", "lot", "7A23", "--json").document
    stay = {"machine": "AM-02", "happening": "absorbent-change", "places": ["Theatre 2"]}
    assert document["fitted"] == [
        stay
        | {"from": "2040-01-15T07:00:00Z", "until": "2040-01-15T07:20:00Z", "retired": False}
        | {"item": "Absorbent, fine", "gtin": "02000000000015", "serial": None}
        | {"expiry": "2040-12-31", "entry": 6, "ended_entry": 7, "struck": False}
    ]
    last = document["not_known"][-1]
    assert [one["machine"] for one in document["not_known"]] == ["AM-02", "AM-03"]
    assert (last["entries"], last["until"], last["from"]) == ([], None, "2024-01-01T00:00:00Z")
    assert (document["lot"], document["did_you_mean"]) == ("7A23", [])
    assert document["at"] == "2040-01-15T08:00:00Z"


def test_a_lot_answers_by_its_exit_code(fitting: Clocked) -> None:
    """No is said only once every machine's items are known by their lots."""
    fitting.at("06:00", "lot", "7A23", code=6)
    for machine in ("AM-02", "AM-03"):
        at = ["--at", "2024-01-01T00:00"]
        fitting.at("07:00", "fit", machine, LABEL, *at)
        fitting.at("07:00", "fit", machine, "(01)02000000000022(10)C7", *at)
    fitting.at("07:10", "lot", "7A23")
    assert 'Did you mean "7A23"?' in fitting.at("07:10", "lot", "7A24", code=1).out
    fitting.at("07:10", "lot", "7a23", code=6)
    fitting.at("07:10", "lot", " ", code=2)
    fitting.at("2040-01-14T06:00", "lot", "7A23", code=6)


def test_what_a_lot_was_called_reaches_no_terminal_raw(fitting: Clocked, tmp_path: Path) -> None:
    """A file may bring any text."""
    file = tmp_path / "log.csv"
    file.write_text(
        "machine,what,at,by,note,ref,outcome,measures,limits,until,place,of,started,lot,gtin,serial\n"
        "AM-02,absorbent-change,2040-01-14T07:00,,,,,,,,,,,7\x1b[2J,,\x1b[2J\n"
    )
    fitting.at("07:00", "import", str(file))
    said = fitting.at("07:10", "lot", "7\x1b[2J")
    assert "\x1b" not in said.out
    assert r"7\x1b[2J" in said.out
    assert "\x1b" not in fitting.at("07:10", "lot", "7[2J", code=6).out


# Scanned


@pytest.fixture
def now(tmp_path: Path) -> str:
    """The same book by the clock on the wall, for processes of their own."""
    for name, text in (("rules.toml", ITEMS), ("fleet.csv", FLEET)):
        (tmp_path / name).write_text(text)
    book = str(tmp_path / "now.db")
    files = ["--rules", tmp_path / "rules.toml", "--fleet", tmp_path / "fleet.csv"]
    assert run("--db", book, "begin", *files).code == 0
    return book


@pytest.mark.parametrize(
    ("sent", "code", "said"),
    [
        (f"]C1{SENT}7A23\x1d21SN0042\r\n".encode(), 0, "lot 7A23, serial SN0042"),
        (b"\xff\xfe01\r\n", 2, "label: what came from standard input is no text; scan it again"),
        (b"", 2, "label: nothing came from standard input"),
    ],
    ids=["label", "no text", "nothing"],
)
def test_a_scanner_at_a_pipe(now: str, sent: bytes, code: int, said: str) -> None:
    done = subprocess.run(
        [*PROGRAM, "--db", now, "fit", "AM-02", "-", "--what-if"],
        input=sent,
        capture_output=True,
        check=False,
        timeout=60,
        env={**os.environ, "PYTHONIOENCODING": "utf-8:strict"},
    )
    assert (done.returncode, said in done.stderr.decode()) == (code, True), done.stderr


@pytest.mark.parametrize(
    ("typed", "code", "said"),
    [
        (f"{SENT}7A23\x1d21SN0042\r", 0, "lot 7A23, serial SN0042"),
        ("\r", 2, "label: is empty"),
        ("\x04", 130, "Scan the label: "),
        ("\x03", 130, "Scan the label: "),
    ],
    ids=["label", "nothing", "Ctrl-D", "Ctrl-C"],
)
def test_a_scanner_at_a_terminal(now: str, typed: str, code: int, said: str) -> None:
    """FNC1 comes through as GS, which a shell's own line editor would take for a command."""
    words = [*PROGRAM[1:], "--db", now, "fit", "AM-02", "-", "--what-if"]
    program = pexpect.spawn(PROGRAM[0], words, encoding="utf-8")
    program.expect_exact("Scan the label: ", timeout=30)
    program.send(typed)
    program.expect(pexpect.EOF, timeout=30)
    program.close()
    assert (program.exitstatus, said in f"Scan the label: {program.before}") == (code, True)


def test_only_what_the_rules_tie_to_an_item_is_fitted(tmp_path: Path) -> None:
    more = ITEMS + '[[happening]]\ncode = "power-on"\ntitle = "Switched on"\n'
    words = ("fit", "AM-02", "--happening", "power-on", "--lot", "C1125", "--by", "kd")
    with freeze_time("2040-01-15T06:00:00Z") as clock:
        refused = Clocked(tmp_path, clock, more).at("09:00", *words, code=2)
    assert "'power-on' is not what happens when something is fitted" in refused.err
    assert "write one of absorbent-change, circuit-change" in refused.err
