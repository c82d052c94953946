"""A check whose terminal is lost: killed at any moment nothing is lost, and nothing is made up.

Each run is a process of its own that is killed as no program can prevent it (SIGKILL).
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import time
from functools import partial
from itertools import pairwise
from pathlib import Path

import pytest

from tests.cli.line import PROGRAM, run
from tests.steps.conftest import FLEET, PASS
from tests.steps.conftest import RULES as SLOW
from tests.steps.conftest import made as made_of

#: The run is over as soon as somebody can say so.
RULES = SLOW.replace("watched = 1, alone = 1", "alone = 0.0001")
made = partial(made_of, rules=RULES)

STEPS = ["steps", "AM-02", "leak-test", "--by", "kd"]


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("begun"))


class Hands:
    """Somebody who types into a pipe."""

    def __init__(self, book: str, folder: Path) -> None:
        self.book = book
        self.environment = {**os.environ, "XDG_STATE_HOME": str(folder), "COLUMNS": "40"}

    def start(self, **more: object) -> subprocess.Popen[bytes]:
        streams = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
        return subprocess.Popen(
            [*PROGRAM, "--db", self.book, *STEPS],
            env=self.environment,
            **{**streams, **more},  # type: ignore[call-overload]
        )

    def types(self, text: bytes) -> tuple[int, str, str]:
        program = self.start()
        out, err = program.communicate(text, timeout=60)
        assert b"Traceback" not in err, err
        return program.returncode, out.decode(), err.decode()

    def outcomes(self) -> list[str]:
        assert run("--db", self.book, "verify").code == 0
        rows = run("--db", self.book, "export").out.splitlines()
        return [row.split(",")[4] for row in rows if ",leak-test," in row]


@pytest.fixture
def hands(begun: Path, tmp_path: Path) -> Hands:
    return Hands(shutil.copy(begun, tmp_path / "book.db"), tmp_path)


def lines(answers: list[str]) -> bytes:
    return "".join(f"{line}\n" for line in answers).encode()


def test_killed_at_any_moment_it_is_gone_on_with_or_begins_anew(hands: Hands) -> None:
    dice = random.Random(7)
    for _ in range(12):
        before = hands.outcomes()
        program = hands.start()
        assert program.stdin is not None
        deadline = time.monotonic() + dice.uniform(0.2, 1.6)
        for answer in ["yes", *PASS]:
            program.stdin.write(f"{answer}\n".encode())
            program.stdin.flush()
            time.sleep(dice.uniform(0, 0.1))
            if time.monotonic() > deadline:
                break
        time.sleep(max(0, deadline - time.monotonic()))
        program.send_signal(signal.SIGKILL)
        program.communicate()
        new = hands.outcomes()[len(before) :]
        # A beginning without a result, or with one pass: none doubled, none made up.
        assert new in ([], ["begun"], ["begun", "pass"], ["pass"], ["pass", "begun"]), new
    everything = hands.outcomes()
    assert ("pass", "pass") not in pairwise(everything)
    code, _, err = hands.types(lines(["yes", *PASS]))
    assert (code, hands.outcomes()[-1]) in ((0, "pass"), (130, "begun")), err


def test_killed_after_each_answer_the_next_one_is_asked(hands: Hands) -> None:
    for number, answer in enumerate(PASS[:-1]):
        program = hands.start()
        assert program.stdin is not None
        assert program.stderr is not None
        program.stdin.write(lines([*(["yes"] if number else []), answer]))
        program.stdin.flush()
        seen = b""
        # The prompt after the answer stands there: the answer is kept.
        while seen.count(b" > ") < (2 if number == 0 else 3):
            seen += os.read(program.stderr.fileno(), 1000)
        program.send_signal(signal.SIGKILL)
        program.communicate()
    assert hands.outcomes() == ["begun"]
    code, out, err = hands.types(lines(["yes", PASS[-1]]))
    assert (code, hands.outcomes()) == (0, ["begun", "pass"]), err
    assert "Now ready: leak test" in out


def test_it_is_gone_on_with_in_either_database(book_url: str, tmp_path: Path) -> None:
    for name, text in (("rules.toml", RULES), ("fleet.csv", FLEET)):
        (tmp_path / name).write_text(text)
    files = ["--rules", tmp_path / "rules.toml", "--fleet", tmp_path / "fleet.csv"]
    assert run("--db", book_url, "begin", *files).code == 0
    hands = Hands(book_url, tmp_path)
    assert hands.types(lines(PASS[:4]))[0] == 130
    code, _, err = hands.types(lines(["yes", *PASS[4:]]))
    assert (code, hands.outcomes()) == (0, ["begun", "pass"]), err


def test_bytes_that_are_no_text_are_refused_as_any_other_line(hands: Hands) -> None:
    garbage = b"\xff\xfe\n\x00\n"
    code, _, err = hands.types(garbage + lines(PASS[:3]) + b"\xc3\x28\n" + lines(PASS[3:]))
    assert (code, hands.outcomes()) == (0, ["begun", "pass"]), err


def test_without_an_input_or_an_output_nothing_breaks(hands: Hands) -> None:
    shut = subprocess.run(
        ["sh", "-c", '"$0" "$@" <&-', *PROGRAM, "--db", hands.book, *STEPS],
        env=hands.environment,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (shut.returncode, hands.outcomes()) == (130, []), shut.stderr
    reading, writing = os.pipe()
    os.close(reading)
    program = hands.start(stderr=writing)
    os.close(writing)
    program.communicate(lines(PASS), timeout=60)
    assert program.returncode == 6
    assert "pass" not in hands.outcomes()


def test_with_a_wrong_pin_nothing_is_lost(begun: Path, tmp_path: Path) -> None:
    """In a pipe the PIN is the line after the last answer."""
    hands = Hands(shutil.copy(begun, tmp_path / "book.db"), tmp_path)
    signed = tmp_path / "signed.toml"
    signed.write_text(RULES + '\n[signatures]\nleak-test = "I did this test"\n')
    (tmp_path / "people.csv").write_text("code,name\nkd,\n")
    why = ["--by", "ms", "--why", "signed", "--yes"]
    assert run("--db", hands.book, "people", tmp_path / "people.csv", "--yes").code == 0
    assert run("--db", hands.book, "rules", "adopt", signed, *why).code == 0
    pin = subprocess.run(
        [*PROGRAM, "--db", hands.book, "people", "pin", "kd"], input=b"4711\n", check=True
    )
    assert pin.returncode == 0
    code, _, err = hands.types(lines([*PASS, "1111"]))
    assert (code, hands.outcomes()) == (2, ["begun"]), err
    assert "The same answers are there with" in " ".join(err.split())
    code, _, err = hands.types(lines(["yes", "yes", "4711"]))
    assert (code, hands.outcomes()) == (0, ["begun", "pass"]), err
