"""Letters given to real commands."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path

import pytest

from checkwatch.answers.notice.plan import Command
from checkwatch.run.senders import command as sender
from checkwatch.run.senders.letter import Letter, Undelivered
from checkwatch.run.senders.post import hand_over
from tests.build import t

LETTER = Letter("<1@saltmere.test>", "3 owed – Süd", "AM-04\n", "<p>", t("05:30"), "pager")

#: Writes down how it was called.
SHOW = """
import os, sys
into, *words = sys.argv[1:]
text = sys.stdin.buffer.read().decode()
open(into, "w").write(repr((words, text, os.environ["CHECKWATCH_MESSAGE_ID"])))
"""


def run(code: str, *words: str, letter: Letter = LETTER) -> None:
    hand_over(letter, Command((sys.executable, "-c", code, *words)), None)


def refused(code: str, *words: str) -> Undelivered:
    with pytest.raises(Undelivered) as caught:
        run(code, *words)
    name = f"command {Path(sys.executable).name}: "
    caught.value.reason = caught.value.reason.removeprefix(name)
    return caught.value


@pytest.mark.parametrize(
    ("subject", "word"),
    [
        ("3 owed – Süd", "3 owed – Süd"),
        ("--help", " --help"),
        ("$(touch x); `id`\n| a * \x00", "$(touch x); `id` | a *"),
        ("", ""),
    ],
)
def test_a_command_gets_text_subject_and_message_id_and_no_shell_reads_them(
    tmp_path: Path, subject: str, word: str
) -> None:
    into = tmp_path / "shown"
    run(SHOW, str(into), "--loud", letter=LETTER._replace(subject=subject))
    assert into.read_text() == repr((["--loud", word], "AM-04\n", "<1@saltmere.test>"))


def test_a_command_that_reads_nothing_may_end_well() -> None:
    run("pass", letter=LETTER._replace(text="x" * 1_000_000))


@pytest.mark.parametrize(
    ("code", "reason"),
    [
        ("raise SystemExit(3)", "ended with exit code 3"),
        (
            "import sys; sys.exit('1st\\nno line to eb@saltmere.test, token s3cret\\x1b[2J\\n\\n')",
            "ended with exit code 1, it says no line to … token … [2J",
        ),
        ("import os; os.kill(os.getpid(), 9)", "was ended by signal 9"),
        (
            "import sys; sys.stderr.write('x' * 5_000_000); sys.exit(1)",
            f"ended with exit code 1, it says {'x' * 159}…",
        ),
        (
            "import os; os.write(2, b'\\xff\\n'); raise SystemExit(1)",
            "ended with exit code 1, it says �",
        ),
    ],
    ids=["silent", "complains", "killed", "complains-much", "no-text"],
)
def test_a_command_that_fails_is_quoted_without_what_is_secret(code: str, reason: str) -> None:
    error = refused(code, "s3cret")
    assert (error.reason, error.lasting) == (reason, False)


@pytest.mark.parametrize(
    ("words", "reason"),
    [
        (("/nowhere/pager", "0123"), "command pager: cannot be run: No such file or directory"),
        (("/etc/passwd",), "command passwd: cannot be run: Permission denied"),
        (("a\x00b",), "command a b: cannot be run: its words cannot be passed on"),
        ((), "command: it is empty"),
    ],
)
def test_a_command_that_cannot_be_run(words: tuple[str, ...], reason: str) -> None:
    with pytest.raises(Undelivered) as caught:
        hand_over(LETTER, Command(words), None)
    assert (caught.value.reason, caught.value.lasting) == (reason, True)


#: Starts another that would go on, tells both numbers, and does not end.
STUCK = """
import os, subprocess, sys, time, signal
signal.signal(signal.SIGTERM, signal.SIG_IGN)
child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
open(sys.argv[1], "w").write(f"{os.getpid()} {child.pid}")
time.sleep(60)
"""


def lives(process: int) -> bool:
    """Whether a process still runs; one that has ended and waits to be fetched does not."""
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no list of processes here")
def test_a_command_that_does_not_end_is_killed_with_all_that_it_started(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sender, "PATIENCE", 2.0)
    began = time.monotonic()
    error = refused(STUCK, str(tmp_path / "numbers"))
    assert time.monotonic() - began < 10
    assert (error.reason, error.lasting) == ("did not end within 2 s and was killed", False)
    numbers = [int(one) for one in (tmp_path / "numbers").read_text().split()]
    end = time.monotonic() + 5
    while any(map(lives, numbers)) and time.monotonic() < end:
        time.sleep(0.05)
    assert not any(map(lives, numbers))


@pytest.mark.skipif(os.name != "posix", reason="needs a command that goes on behind another")
def test_what_a_command_leaves_running_is_not_waited_for(tmp_path: Path) -> None:
    began = time.monotonic()
    go = tmp_path / "go"
    code = (
        "import subprocess, sys; subprocess.Popen([sys.executable, '-c', "
        "'import os, sys, time\\nwhile not os.path.exists(sys.argv[1]): time.sleep(.05)', "
        "sys.argv[1]])"
    )
    run(code, str(go))
    assert time.monotonic() - began < 10
    go.touch()
