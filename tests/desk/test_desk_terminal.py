"""The desk on a real terminal, from a pipe, and cut off as no program can prevent it."""

from __future__ import annotations

import random
import shutil
import signal
import subprocess
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from checkwatch.run import pin
from tests.cli.line import PROGRAM, run
from tests.desk.conftest import RULES, made, results
from tests.terminal import Terminal

CHANGE = ["cw:m:AM-02", "cw:w:absorbent-change", "cw:p:kd"]

#: A result of the leak test is written with a PIN.
SIGNED = f'{RULES}\n[signatures]\nleak-test = "I did this test"\n'

PEOPLE = "code,name,roles,trained,shared\nkd,Kim Dale,,,\nrb,Ro Berg,,,\n"


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made(tmp_path_factory.mktemp("begun"))


@pytest.fixture
def book(begun: Path, tmp_path: Path) -> Path:
    return Path(shutil.copy(begun, tmp_path / "book.db"))


@pytest.fixture(params=[40, 80])
def terminal(book: Path, request: pytest.FixtureRequest) -> Iterator[Terminal]:
    opened = Terminal(request.param, 50, "--db", str(book), "desk")
    yield opened
    opened.program.close(force=True)


def test_an_entry_fits_the_screen(terminal: Terminal, book: Path) -> None:
    assert "Nothing about patients." in terminal.wait("Machine >").replace("\n", " ")
    assert terminal.types("Theatre 2", "scan the machine >")
    terminal.types("1", "AM-02, what >")
    terminal.types("leak-test", "/ stopped >")
    terminal.types("p", "leak in mL/min >")
    assert "leak test, pass, leak 60 mL/min." in terminal.types("60", "Who >").replace("\n", " ")
    assert "is now cleared" in terminal.types("kd", "Machine >").replace("\n", " ")
    terminal.program.send("\x04")
    code, text = terminal.ended()
    assert (code, results(book)) == (0, [["leak-test", "pass", "kd"]])
    assert "1 entry written at this desk." in text
    assert max(map(len, terminal.lines)) <= terminal.columns


def test_a_scanner_does_not_wait_for_the_question(terminal: Terminal, book: Path) -> None:
    terminal.wait("Machine >")
    terminal.program.send("".join(f"{line}\r" for line in CHANGE * 2))
    end = time.monotonic() + 30
    while len(results(book)) < 2 and time.monotonic() < end:
        terminal.look()
    assert results(book) == [["absorbent-change", "", "kd"]] * 2


def test_ctrl_c_ends_it_and_leaves_what_was_written(terminal: Terminal, book: Path) -> None:
    terminal.wait("Machine >")
    for line, then in zip(CHANGE, ["what >", "Who >", "Machine >"], strict=True):
        terminal.types(line, then)
    terminal.types("AM-03", "what >")
    terminal.program.send("\x03")
    code, text = terminal.ended()
    assert (code, results(book)) == (130, [["absorbent-change", "", "kd"]])
    assert "what was half said is not." in text.replace("\n", " ")
    assert "Traceback" not in text


def test_a_pin_is_asked_for_at_a_terminal_and_the_next_person_is_another(tmp_path: Path) -> None:
    book = made(tmp_path, SIGNED)
    (tmp_path / "people.csv").write_text(PEOPLE)
    assert run("--db", book, "people", tmp_path / "people.csv", "--yes").code == 0
    pin.set_pin(str(book), "kd", "4711", None)
    assert "write it at a terminal" in piped(book, b"AM-02\nleak-test\np\n60\nkd\n")[2]
    terminal = Terminal(40, 50, "--db", str(book), "desk")
    terminal.wait("Machine >")
    asked = ["what >", "stopped >", "min >", "Who >"]
    for line, then in zip(["AM-02", "leak-test", "p", "60"], asked, strict=True):
        terminal.types(line, then)
    assert '"I did this test"' in terminal.types("kd", "PIN:")
    assert "that is not their PIN" in terminal.types("4712", "again\nPIN:").replace("\n", " ")
    assert "is now cleared" in terminal.types("4711", "Machine >").replace("\n", " ")
    terminal.program.close(force=True)
    assert results(book) == [["leak-test", "pass", "kd"]]
    assert "471" not in terminal.sent


def test_from_a_pipe_no_pin_is_shown(tmp_path: Path) -> None:
    book = made(tmp_path, SIGNED)
    (tmp_path / "people.csv").write_text(PEOPLE)
    assert run("--db", book, "people", tmp_path / "people.csv", "--yes").code == 0
    pin.set_pin(str(book), "kd", "4711", None)
    for code in ("kd", "rb"):
        lines = f"AM-02\nleak-test\np\n60\n{code}\n4711\n\n".encode()
        status, out, err = piped(book, lines + "".join(f"{line}\n" for line in CHANGE).encode())
        assert (status, "4711" in out + err) == (2, False)
        assert "The line behind that was not taken either, and is not shown." in err
    assert results(book) == [["absorbent-change", "", "kd"]] * 2


def piped(book: Path, text: bytes) -> tuple[int, str, str]:
    program = [*PROGRAM, "--db", str(book), "desk"]
    done = subprocess.run(program, input=text, capture_output=True, timeout=60, check=False)
    err = done.stderr.decode()
    assert "Traceback" not in err
    assert "checkwatch failed" not in err
    return done.returncode, done.stdout.decode(), err


@pytest.mark.parametrize(
    ("lines", "code", "entries"),
    [
        (CHANGE, 0, 1),
        ([], 0, 0),
        ([*CHANGE, "hm"], 2, 1),
        ([*CHANGE, "AM-02"], 2, 1),
        (["hm", *CHANGE], 2, 1),
    ],
)
def test_from_a_pipe_the_code_says_whether_all_was_taken(
    book: Path, lines: list[str], code: int, entries: int
) -> None:
    assert piped(book, "".join(f"{line}\n" for line in lines).encode())[0] == code
    assert len(results(book)) == entries


def test_bytes_that_are_no_text_do_not_end_it(book: Path) -> None:
    noise = bytes(random.Random(4).randrange(256) for _ in range(4000))
    lines = "".join(f"{line}\n" for line in CHANGE).encode()
    code, _, _ = piped(book, noise + b"\n\n" + lines)
    assert (code, results(book)) == (2, [["absorbent-change", "", "kd"]])


def test_killed_at_any_moment_what_was_acknowledged_is_there(book: Path) -> None:
    dice = random.Random(11)
    shown = 0
    for _ in range(6):
        program = subprocess.Popen(
            [*PROGRAM, "--db", str(book), "desk"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
        )
        assert program.stdin is not None
        program.stdin.write("".join(f"{line}\n" for line in CHANGE * 40).encode())
        program.stdin.flush()
        assert program.stdout is not None
        came = program.stdout.readline()
        time.sleep(dice.uniform(0, 1))
        program.send_signal(signal.SIGKILL)
        came += program.communicate(timeout=60)[0]
        shown += came.count(b" written, AM-02")
        assert run("--db", book, "verify").code == 0
        assert len(results(book)) >= shown
    assert shown > 0
