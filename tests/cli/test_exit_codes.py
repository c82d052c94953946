"""Exit codes: 0, 1, 2, 4, 5 and 6 as the contract's table says (docs/reference/exit-codes.md).

Which machine and place of the example stands where: examples/theatres/README.md.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from checkwatch.run.demo import folder
from tests.cli.line import run, start

STANDS = [
    ("Theatre 2", 0), ("AM-02", 0),
    ("Theatre 1", 4), ("AM-18", 4), ("Imaging suite", 4),
    ("Theatre 5", 5), ("AM-05", 5),
    ("Theatre 4", 1), ("AM-04", 1), ("AM-20", 1),
    ("WM-01", 6), ("Equipment store", 6), ("AM-22", 6), ("AM-99", 6), ("", 6),
]  # fmt: skip


@pytest.mark.parametrize(("what", "code"), STANDS)
def test_cleared_and_why_answer_by_their_exit_code(suite: str, what: str, code: int) -> None:
    assert run("cleared", what, "--db", suite).code == code
    assert run("why", what, "--db", suite).code == code


@pytest.mark.parametrize(
    ("what", "span", "code"),
    [
        ("Theatre 2", "PT5M", 0),
        ("Theatre 6", "PT1M", 0),  # its self-test runs out at 10:55, a quarter of an hour ahead
        ("Theatre 6", "PT2H", 1),
        ("Theatre 1", "PT5M", 4),
        ("Theatre 5", "PT5M", 5),  # excused, which is no clearance
        ("Theatre 4", "PT5M", 1),
        ("WM-01", "PT5M", 6),
    ],
)
def test_cleared_for_a_time(suite: str, what: str, span: str, code: int) -> None:
    said = run("cleared", what, "--for", span, "--db", suite, "--json")
    assert said.code == code
    assert said.document["cleared_throughout"] is (code in (0, 4))


def test_which(suite: str, small: str) -> None:
    assert run("which", "--db", suite).code == 0
    assert run("which", "--db", suite, "--kind", "anaesthetic-machine").code == 0
    assert run("which", "--db", small).code == 1
    assert run("which", "--db", suite, "--for", "P9D").code == 1
    assert run("which", "--db", suite, "--kind", "kettle").code == 6
    assert run("which", "--db", suite, "--for", "ages").code == 2


def test_overdue(suite: str, small: str) -> None:
    assert run("overdue", "--db", suite).code == 1
    assert run("overdue", "--db", small).code == 1
    for machine in ("AM-01", "AM-02", "AM-03"):
        assert run("done", machine, "self-test", "pass", "--by", "kd", "--db", small).code == 0
    # The warmer is unknown: no gate applies to it, and that heads the list.
    assert run("overdue", "--db", small).code == 1
    assert run("retire", "WM-01", "--db", small).code == 0
    assert run("overdue", "--db", small).code == 0
    soon = run("overdue", "--within", "P2D", "--db", small, "--json")
    assert (soon.code, len(soon.document["soon"])) == (0, 3)


def test_windows(suite: str) -> None:
    assert run("windows", "AM-04", "--db", suite).code == 0
    assert run("windows", "AM-04", "--check", "leak-test", "--db", suite).code == 0
    assert run("windows", "AM-04", "--check", "song", "--db", suite).code == 2
    assert run("windows", "Theatre 4", "--db", suite).code == 6
    assert run("windows", "AM-99", "--db", suite).code == 6


def test_board_printed_once(suite: str) -> None:
    said = run("board", "--once", "--db", suite)
    assert (said.code, said.err) == (0, "")
    assert said.out.startswith("EXAMPLE")


def test_verify_tells_an_altered_line(small: str) -> None:
    assert run("verify", "--db", small).code == 0
    assert run("note", "AM-01", "one", "--db", small).code == 0
    alter(small, "UPDATE entry SET machine = 'AM-02' WHERE seq = 3")
    said = run("verify", "--db", small)
    assert said.code == 1
    assert said.out.startswith("Entry ")


def alter(path: str, statement: str) -> None:
    """Alters a book behind its guards, as somebody with the file in his hands could."""
    with closing(sqlite3.connect(path)) as conn, conn:
        guards = conn.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        for name, _ in (kept := guards.fetchall()):
            conn.execute(f"DROP TRIGGER {name}")
        conn.execute(statement)
        for _, sql in kept:
            conn.execute(sql)


def test_rules_check_and_cases(files: Path, tmp_path: Path) -> None:
    example = folder() / "rulebook.toml"
    assert run("rules", "check", example).code == 0
    assert run("rules", "cases", example).code == 0
    assert run("rules", "cases", files / "rules.toml").code == 2, "it has no cases"
    wrong = tmp_path / "wrong.toml"
    wrong.write_text((files / "rules.toml").read_text().replace("PT24H", "a day"))
    assert run("rules", "check", wrong).code == 2
    assert run("rules", "check", tmp_path / "none.toml").code == 2


def test_a_case_that_differs_ends_with_1(tmp_path: Path) -> None:
    text = (folder() / "rulebook.toml").read_text(encoding="utf-8")
    cases = (folder() / "rulebook.cases.toml").read_text(encoding="utf-8")
    text = text.replace("limited_above = 200", "limited_above = 250")
    (tmp_path / "r.toml").write_text(text, encoding="utf-8")
    (tmp_path / "r.cases.toml").write_text(cases, encoding="utf-8")
    said = run("rules", "cases", tmp_path / "r.toml")
    assert said.code == 1
    assert "differs  " in said.out


@pytest.mark.parametrize(
    "words",
    [
        ["sing"],
        ["cleared"],
        ["cleared", "AM-04", "--loud"],
        ["cleared", "AM-04", "--at", "soon"],
        ["cleared", "AM-04", "--at", "2026-03-29T01:30"],  # skipped when the clocks go forward
        ["cleared", "AM-04", "--known-at", "2025-10-26T01:30"],  # there twice
        ["cleared", "AM-04", "--for", "PT0S"],
        ["cleared", "AM-04", "--for", "-PT1H"],
        ["overdue", "--within", "eight hours"],
        ["done", "AM-04", "leak-test", "fine"],
        ["done", "AM-04", "song", "pass"],
        ["done", "AM-04", "leak-test", "pass"],  # without its measure
        ["done", "AM-04", "leak-test", "pass", "--measure", "leak=lots"],
        ["happened", "AM-04", "exception"],
        ["happened", "AM-04", "power-on", "twice"],
        ["fault", "AM-04", "terrible"],
        ["withdraw", "AM-04", "--place", "Theatre 4"],
        ["withdraw"],
        ["strike", "99999999", "--reason", "none"],
        ["strike", "one", "--reason", "none"],
        ["strike", "9" * 40, "--reason", "none"],
        ["fault-closed", "AM-04", "9" * 40, "--how", "repaired"],
        ["except", "AM-04", "--reason", "r", "--decided", "d", "--until", "P9D"],
        ["import", "/no/such/file.csv"],
        ["enrol", "AM-100"],
    ],
)
def test_a_mistake_of_the_user_ends_with_2(suite: str, words: list[str]) -> None:
    said = run("--db", suite, *words)
    assert (said.code, said.out) == (2, "")
    assert said.err


@pytest.mark.parametrize("words", [["done", "AM-99", "leak-test", "pass"], ["withdraw", "AM-99"]])
def test_writing_about_an_unknown_machine_ends_with_6(suite: str, words: list[str]) -> None:
    assert run("--db", suite, *words).code == 6


def test_an_error_inside_the_program_is_no_yes(suite: str, tmp_path: Path) -> None:
    """A module of the same name in front of it breaks the program as no test of it could."""
    (tmp_path / "sitecustomize.py").write_text(
        "import checkwatch.run.world as w\n"
        "def ask_on(*_a, **_k): raise RuntimeError('broken on purpose')\n"
        "w.ask_on = ask_on\n"
    )
    path = {"PYTHONPATH": f"{tmp_path}:{Path(__file__).parents[2]}"}
    said = start("why", "Theatre 2", "--db", suite, env=path)
    assert (said.code, said.out) == (6, "")
    assert "no answer was given" in said.err
