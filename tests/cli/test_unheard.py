"""What is written stands and is said, also where the answer to it cannot be given."""

from __future__ import annotations

import os
import shlex
import subprocess
from pathlib import Path

import pytest

from tests.cli.line import PROGRAM, Said, run

DONE = "done AM-01 self-test pass --by kd"
FULL = pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk here is full on demand")


def shell(book: str, line: str, code: int, unbuffered: str = "") -> Said:
    """A line for the shell in which the word checkwatch is this program with a book."""
    program = shlex.join([*PROGRAM, "--db", str(book)])
    done = subprocess.run(
        ["bash", "-c", f"set -o pipefail; {line.replace('checkwatch', program)}"],
        capture_output=True,
        text=True,
        stdin=subprocess.DEVNULL,
        env={**os.environ, "COLUMNS": "100", "PYTHONUNBUFFERED": unbuffered},
        timeout=60,
        check=False,
    )
    assert "Traceback" not in done.stderr
    assert "Exception ignored" not in done.stderr
    assert "checkwatch failed" not in done.stderr
    assert done.returncode == code, done
    return Said(done.returncode, done.stdout, done.stderr)


def newest(book: str) -> tuple[int, str]:
    entry = run("--db", book, "log", "AM-01", "--json").document["entries"][-1]
    return entry["entry"], entry["what"]


#: What is printed goes out at the end, or a piece at a time.
HELD = pytest.mark.parametrize("unbuffered", ["", "1"], ids=["held", "at once"])


@FULL
@HELD
def test_on_a_full_disk_an_entry_is_named_on_the_other_stream(small: str, unbuffered: str) -> None:
    said = shell(small, f"checkwatch {DONE} >/dev/full", 0, unbuffered)
    assert said.err == (
        "entry 8 is written; the answer to that could not be given: no space left on device\n"
    )
    assert newest(small) == (8, "self-test")


@HELD
def test_behind_a_pipe_that_is_closed_an_entry_is_named(small: str, unbuffered: str) -> None:
    said = shell(small, f"checkwatch {DONE} | exec 0<&-", 0, unbuffered)
    assert said.err.startswith("entry 8 is written; the answer to that could not be given: ")
    assert newest(small) == (8, "self-test")


@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-", "<&- >&- 2>&-"])
def test_who_closes_a_stream_writes_all_the_same(small: str, closed: str) -> None:
    shell(small, f"checkwatch {DONE} {closed}", 0)
    assert newest(small) == (8, "self-test")
    assert run("--db", small, "verify").code == 0


def test_nothing_is_asked_of_a_closed_stream(small: str) -> None:
    shell(small, "printf 'AM-01\\npower-on\\nkd\\n' | checkwatch desk 2>&-", 0)
    assert newest(small) == (8, "power-on")
    shell(small, "checkwatch steps AM-01 self-test --by kd 2>&-", 130)


@FULL
def test_a_question_has_no_answer_where_none_is_given(small: str) -> None:
    said = shell(small, "checkwatch cleared AM-01 >/dev/full", 6)
    assert said.err == "the answer could not be given: no space left on device\n"
    run("--db", small, *DONE.split())
    assert shell(small, "checkwatch cleared AM-01 >/dev/full", 6).code == 6
    assert shell(small, "checkwatch overdue | exec 0<&-", 6).err == ""


@FULL
@HELD
def test_a_refusal_that_nobody_hears_is_one(small: str, unbuffered: str) -> None:
    shell(small, "checkwatch done AM-01 self-test pass 2>/dev/full", 2, unbuffered)
    assert newest(small)[1] == "enrolled"


@FULL
def test_where_more_was_to_come_it_is_not_done(small: str) -> None:
    """The lines behind the first are not taken: 0 would say that they were."""
    lines = "AM-01\\npower-on\\nkd\\n" * 2
    said = shell(small, f"printf '{lines}' | checkwatch desk >/dev/full", 6)
    assert said.err.splitlines()[-1].startswith("entry 8 is written; the answer to that could")
    assert newest(small) == (8, "power-on")
