"""People at the command line: taken in, erased, and what each of them may write."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.clocked import FLEET, RULES
from tests.cli.line import Said, run

ASKING = 'untrained = "flagged"\nunknown_person = "stopped"\n'

ROLES = """
[[role]]
code = "engineer"
title = "Engineer"
may = ["returned", "fault-closed", "retired", "restore", "filter"]

[[role]]
code = "lead"
title = "Clinical lead"
may = ["adopt"]
"""

PEOPLE = """\
code,name,roles,trained,shared
EB,Edda Bo,engineer,,
kd,Kim Dale,,anaesthetic-machine:2040-01-31,
ld,Lo Marsh,lead,anaesthetic-machine:2040-01-14,
screen,,,,yes
"""

NOW = "2040-01-15T08:00:00Z"
PASS = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60"]


@pytest.fixture
def book(tmp_path: Path) -> str:
    rules = RULES.replace('title = "Small suite"\n', f'title = "Small suite"\n{ASKING}') + ROLES
    for name, text in (("rules.toml", rules), ("fleet.csv", FLEET), ("people.csv", PEOPLE)):
        (tmp_path / name).write_text(text)
    url = str(tmp_path / "book.db")
    files = ["--rules", tmp_path / "rules.toml", "--fleet", tmp_path / "fleet.csv"]
    assert at("2040-01-15T06:00:00Z", url, "begin", *files).code == 0
    assert at("2040-01-15T06:00:00Z", url, "people", tmp_path / "people.csv", "--yes").code == 0
    return url


def at(time: str, book: str, *words: str | Path) -> Said:
    with freeze_time(time):
        return run("--db", book, *words)


def now(book: str, *words: str | Path) -> Said:
    return at(NOW, book, *words)


def says(said: Said) -> str:
    """An answer on one line."""
    return " ".join(said.out.split())


# The list and the file


def test_the_list_shows_names_roles_and_whose_training_ends(book: str) -> None:
    said = now(book, "people")
    assert (said.code, said.err) == (0, "")
    assert [line.split()[:3] for line in said.out.splitlines()[:5]] == [
        ["code", "name", "PIN"],
        ["EB", "Edda", "Bo"],
        ["kd", "Kim", "Dale"],
        ["ld", "Lo", "Marsh"],
        ["screen", "shared", "by"],
    ]
    assert "ld: the training on anaesthetic-machine ended on 2040-01-14." in says(said)
    assert "kd: the last day of the training on anaesthetic-machine is 2040-01-31, in 16 days." in (
        says(said)
    )


def test_as_json_the_list_says_the_same(book: str) -> None:
    document = now(book, "people", "--json").document
    assert [one["code"] for one in document["people"]] == ["EB", "kd", "ld", "screen"]
    kind, last = "anaesthetic-machine", "2040-01-31"
    assert document["people"][1]["trained"] == [{"kind": kind, "until": last}]
    assert document["soon"] == [{"code": "kd", "kind": kind, "until": last}]
    assert document["ended"][0]["code"] == "ld"
    assert (document["day"], document["roles_of_nobody"]) == ("2040-01-15", [])


def test_a_file_is_shown_before_a_yes(book: str, tmp_path: Path) -> None:
    file = tmp_path / "new.csv"
    file.write_text("code,name,roles\nEB,Edda Bo,engineer\nkd,Kim D.,\nlm,,engineer\n")
    shown = [
        "New: lm: roles engineer.",
        "Changed: kd: name Kim D., before Kim Dale; trained on none, before anaesthetic-machine"
        " until 2040-01-31.",
        "As before: 1 person.",
        "Not in the file, and known as before: ld and screen.",
    ]
    foreseen = now(book, "people", file, "--what-if")
    assert foreseen.out.splitlines()[0] == "Nothing is written; if it were:"
    assert says(foreseen).endswith(" ".join(shown))
    refused = now(book, "people", file)
    assert (refused.code, says(refused)) == (2, " ".join(shown))
    assert "add --yes" in refused.err
    assert "lm" not in now(book, "people").out
    assert now(book, "people", file, "--yes").code == 0
    assert "lm" in now(book, "people").out
    again = now(book, "people", file)
    assert (again.code, again.out) == (
        0,
        "The book knows all of this already; nothing was written.\n",
    )


def test_a_code_in_another_spelling_is_refused(book: str, tmp_path: Path) -> None:
    file = tmp_path / "new.csv"
    file.write_text("code\nKD\n")
    said = now(book, "people", file, "--yes")
    assert said.code == 2
    assert "'KD' cannot be told from 'kd'" in said.err


def test_what_the_rules_do_not_know_is_warned_of(book: str, tmp_path: Path) -> None:
    file = tmp_path / "new.csv"
    file.write_text("code,roles\nlm,enginer\n")
    said = now(book, "people", file, "--yes")
    assert said.code == 0
    assert "warning: lm: the rules know no role 'enginer'; did you mean \"engineer\"?" in said.err


def test_who_is_erased_leaves_a_code_in_the_entries_and_no_name(book: str) -> None:
    assert now(book, *PASS, "--by", "kd").code == 0
    assert now(book, "people", "--erase", "kd").code == 2
    assert "Kim Dale" in now(book, "people", "--erase", "kd", "--what-if").out
    assert "Kim Dale" in now(book, "people").out
    assert now(book, "people", "--erase", "KD", "--yes").code == 0
    assert "kd" not in now(book, "people").out
    assert ",kd," in now(book, "export").out
    assert now(book, "verify").code == 0
    assert b"Kim Dale" not in Path(book).read_bytes()


def test_a_role_that_nobody_has_is_told(book: str) -> None:
    now(book, "people", "--erase", "EB", "--yes")
    said = says(now(book, "people"))
    assert "Nobody has these roles, so nobody may write what they may: engineer (Engineer)." in said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["people.csv", "--json"], "--json: goes with the list of people only"),
        (["pin", "EB", "--what-if"], "--what-if: goes with FILE and --erase only"),
        (["--what-if"], "--what-if: goes with FILE and --erase only"),
        (["pin"], "pin: whose PIN is not said; write it like people pin EB"),
        (["pin", "EB", "kd"], "pin: whose PIN is not said"),
        (["a.csv", "b.csv"], "people: takes one file, or pin and one code, or --erase"),
        (["a.csv", "--erase", "EB"], "people: takes one file, or pin and one code, or --erase"),
        (["nofile.csv"], "nofile.csv: no such file"),
        (["--erase", "zz"], "'zz': the book knows nobody of this code; see `checkwatch people`"),
        (["--erase", "KB"], "'KB': the book knows nobody of this code; did you mean kd or EB?"),
    ],
)
def test_what_cannot_be_meant_says_what_to_type(book: str, words: list[str], said: str) -> None:
    refused = now(book, "people", *words)
    assert (refused.code, refused.out) == (2, "")
    assert said in refused.err


# Who writes it


@pytest.mark.parametrize(
    "words",
    [
        PASS,
        ["done", "AM-02", "leak-test", "fail"],
        ["done", "AM-02", "self-test", "begun"],
        ["fault", "AM-02", "limit", "--note", "dim"],
        ["fault", "limit", "--note", "dim", "--kind", "anaesthetic-machine", "--yes"],
        ["except", "AM-02", "--reason", "bleed", "--decided", "ms", "--until", "PT1H"],
        ["strike", "6", "--reason", "wrong machine"],
    ],
    ids=" ".join,
)
def test_who_writes_it_must_be_said_and_be_one_person(book: str, words: list[str]) -> None:
    """Whatever the account of the computer is called."""
    assert now(book, "happened", "AM-02", "circuit-change").code == 0
    for by in ([], ["--by", " "], ["--by", "screen"], ["--by", "Screen"]):
        for more in ([], ["--what-if"]):
            said = now(book, *words, *by, *more)
            assert (said.code, said.out.replace("2 machines", "")) == (2, ""), said
            assert said.err.strip().endswith("add --by with your own code"), said
    assert now(book, *words, "--by", "kd").code == 0


@pytest.mark.parametrize(
    "words",
    [
        ["happened", "AM-02", "circuit-change"],
        ["withdraw", "AM-02"],
        ["move", "AM-02", "Theatre 3"],
        ["note", "AM-02", "words"],
        ["done", "AM-02", "self-test", "fail", "--by", "zz"],
    ],
    ids=" ".join,
)
def test_what_else_is_written_without_a_code_or_with_any(book: str, words: list[str]) -> None:
    assert now(book, *words).code == 0


def test_a_book_is_made_with_its_people_or_not_at_all(tmp_path: Path) -> None:
    files = {"rules.toml": RULES + ROLES, "fleet.csv": FLEET, "people.csv": PEOPLE}
    for name, text in files.items():
        (tmp_path / name).write_text(text)
    url = str(tmp_path / "book.db")
    begin = ["begin", "--rules", tmp_path / "rules.toml", "--fleet", tmp_path / "fleet.csv"]
    begin += ["--people", tmp_path / "people.csv"]
    (tmp_path / "people.csv").write_text(PEOPLE + "e b,,,,\n")
    said = run("--db", url, *begin)
    assert (said.code, "people.csv: line 6: the code 'e b' has a blank" in said.err) == (2, True)
    assert run("--db", url, "people").code == 6
    (tmp_path / "people.csv").write_text(PEOPLE.replace(",lead,", ",chief,"))
    said = run("--db", url, *begin)
    assert (said.code, "It knows 4 people." in said.out) == (0, True)
    assert "warning: ld: the rules know no role 'chief'" in said.err
    assert len(run("--db", url, "people", "--json").document["people"]) == 4


# What a role may


def number(said: Said) -> str:
    return str(said.document["entries"][0])


def test_what_is_for_a_role_is_refused_to_others_and_says_to_whom_to_turn(book: str) -> None:
    fault = number(now(book, "fault", "AM-02", "limit", "--note", "d", "--by", "kd", "--json"))
    other = "is for the role engineer (Engineer), and 'kd' has no such role; let EB write it"
    for words in (
        ["return", "AM-02"],
        ["fault-closed", "AM-02", fault, "--how", "repaired"],
        ["retire", "AM-02"],
        ["strike", fault, "--reason", "never was", "--restores"],
    ):
        said = now(book, *words, "--by", "kd")
        assert (said.code, other in said.err) == (2, True), said
        shared = now(book, *words, "--by", "screen").err
        assert "'screen' is a code that several people share" in shared
        assert now(book, *words, "--by", "eb", "--what-if").code == 0
    assert now(book, "strike", fault, "--reason", "wrong machine", "--by", "kd").code == 0
    assert now(book, "fault-closed", "AM-02", fault, "--how", "repaired", "--by", "EB").code == 0


def test_only_who_may_adopts_rules(book: str, tmp_path: Path) -> None:
    file = tmp_path / "rules.toml"
    file.write_text(file.read_text().replace("PT24H", "PT12H"))
    adopt = ["rules", "adopt", file, "--why", "shorter", "--yes"]
    said = now(book, *adopt, "--by", "kd")
    assert (said.code, said.out) == (2, "")
    assert "adopt: this is for the role lead (Clinical lead)" in said.err
    assert now(book, *adopt, "--by", "ld").code == 0


def test_rules_that_are_still_to_come_ask_nothing_yet(book: str, tmp_path: Path) -> None:
    """The version in force at the entry's time says who may write it."""
    free = RULES.replace("PT24H", "PT12H")
    (tmp_path / "free.toml").write_text(free)
    adopt = ["rules", "adopt", tmp_path / "free.toml", "--why", "free", "--yes", "--by", "ld"]
    assert now(book, *adopt, "--from", "2040-01-15T10:00").code == 0
    assert at("2040-01-15T09:59:00Z", book, "return", "AM-02", "--by", "kd").code == 2
    assert at("2040-01-15T10:00:00Z", book, "return", "AM-02", "--by", "kd").code == 0


@pytest.mark.usefixtures("book")
def test_a_time_before_the_rules_that_ask_for_a_role_is_no_way_round_them(tmp_path: Path) -> None:
    rules = tmp_path / "rules.toml"
    asking = rules.read_text()
    rules.write_text(RULES)
    url = str(tmp_path / "late.db")
    files = ["--rules", rules, "--fleet", tmp_path / "fleet.csv"]
    assert at("2040-01-15T05:00:00Z", url, "begin", *files).code == 0
    assert at("2040-01-15T05:00:00Z", url, "people", tmp_path / "people.csv", "--yes").code == 0
    assert at("2040-01-15T05:30:00Z", url, "withdraw", "AM-02").code == 0
    rules.write_text(asking)
    adopt = ["rules", "adopt", rules, "--why", "roles", "--by", "ld", "--yes"]
    assert at("2040-01-15T06:00:00Z", url, *adopt).code == 0
    back = ["return", "AM-02", "--at", "2040-01-15T05:45", "--by"]
    said = now(url, *back, "kd")
    assert (said.code, said.err.count("is for the role engineer")) == (2, 1)
    assert now(url, *back, "EB").code == 0


# Whose results count


def test_a_result_by_somebody_untrained_counts_with_a_flag(book: str) -> None:
    said = says(now(book, *PASS, "--by", "ld"))
    assert "Now ready: leak test." in said
    assert "It is flagged: who wrote it was not trained on it." in said
    shown = says(now(book, "why", "AM-02"))
    assert "by ld, who wrote it was not trained on it" in shown
    document = now(book, "log", "AM-02", "--json").document
    assert document["entries"][-1]["details"]["flag"] == "untrained"
    wrote = now(book, *PASS, "--by", "ld", "--json").document["written"]
    assert [(one["what"], one["by"], one["flag"], one["signed"]) for one in wrote] == [
        ("leak-test", "ld", "untrained", "")
    ]


def test_a_result_by_somebody_unknown_is_written_and_counts_for_nothing(book: str) -> None:
    said = says(now(book, *PASS, "--by", "zz"))
    assert "This pass counts for nothing: the book did not know who wrote it." in said
    assert "its leak test was done by somebody whom the book did not know, at 08:00 GMT" in said
    assert "It is flagged" not in said
    assert "counts here as stopped" in says(now(book, "why", "AM-02"))


def test_training_counts_as_of_the_time_of_the_result(book: str) -> None:
    """Written on the 15th, of the last day of the training, the 14th."""
    early, late = "2040-01-14T23:50", "2040-01-15T00:01"
    for typed, flagged in ((early, False), (late, True)):
        said = now(book, *PASS, "--by", "ld", "--at", typed, "--what-if")
        assert (said.code, "It is flagged" in said.out) == (0, flagged)


def test_a_fail_by_somebody_unknown_counts_as_one(book: str) -> None:
    said = says(now(book, "done", "AM-02", "leak-test", "fail", "--by", "zz"))
    assert "its leak test failed at 08:00 GMT" in said
    assert "It is flagged: the book did not know who wrote it." in said


# Older books


def test_a_book_of_an_older_version_says_so_and_knows_nobody_once_it_is_upgraded(
    book: str,
) -> None:
    """As its tables were before roles, training and notices."""
    with closing(sqlite3.connect(book)) as conn, conn:
        for column in ("roles", "trained", "shared", "pin", "pin_wrong", "pin_after"):
            conn.execute(f"ALTER TABLE people DROP COLUMN {column}")
        for table in ("watcher", "heard", "message", "notice"):
            conn.execute(f"DROP TABLE {table}")
        conn.execute("UPDATE book_schema SET version_num = '0002'")
    for words in (["cleared", "AM-02"], ["people"], [*PASS, "--by", "kd"]):
        said = now(book, *words)
        assert (said.code, said.out) == (6, "")
        assert "the book is of an older version; run `checkwatch upgrade`" in said.err
    assert now(book, "upgrade").code == 0
    assert now(book, "cleared", "AM-02").code == 1
    assert "Kim Dale" in now(book, "people").out
