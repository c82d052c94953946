"""Letters added to a real file: whole, once, on the disk, or not at all."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from checkwatch.answers.notice.plan import File
from checkwatch.run.senders import file as sender
from checkwatch.run.senders.letter import Letter, Undelivered
from checkwatch.run.senders.post import hand_over
from tests.build import t

ROOT = Path(__file__).parents[3]

FIRST = Letter("<1@saltmere.test>", "3 owed – Süd", "AM-04\nAM-05\n", "<p>", t("05:30"), "wall")
SECOND = FIRST._replace(message_id="<2@saltmere.test>", subject="nothing owed", text="all 16")

WRITTEN = """\
Message-ID: <1@saltmere.test>
Date: Thu, 12 Mar 2026 05:30:00 +0000
To: wall
Subject: 3 owed – Süd

AM-04
AM-05

End: <1@saltmere.test>

"""


def add(letter: Letter, path: Path) -> str:
    """What the file holds afterwards."""
    hand_over(letter, File(str(path)), None)
    return path.read_text(encoding="utf-8")


def refused(path: Path) -> Undelivered:
    with pytest.raises(Undelivered) as caught:
        hand_over(FIRST, File(str(path)), None)
    caught.value.reason = caught.value.reason.removeprefix(f"file {path}: ")
    return caught.value


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "letters.txt"


def test_a_letter_is_added_once_and_another_after_it(path: Path) -> None:
    assert add(FIRST, path) == WRITTEN
    assert add(FIRST, path) == WRITTEN
    both = add(SECOND, path)
    assert both.startswith(WRITTEN)
    assert both.endswith("Subject: nothing owed\n\nall 16\n\nEnd: <2@saltmere.test>\n\n")
    assert add(FIRST, path) == add(SECOND, path) == both


def test_what_another_attempt_left_half_written_is_written_whole(path: Path) -> None:
    """Wherever it was killed."""
    add(FIRST, path)
    whole = add(SECOND, path).encode()
    begin = len(WRITTEN.encode())
    for length in range(begin, len(whole)):
        path.write_bytes(whole[:length])
        text = add(SECOND, path)
        assert text.startswith(WRITTEN)
        assert text.count("\nEnd: <2@saltmere.test>\n") == 1
        assert whole.decode().removeprefix(WRITTEN).rstrip() in text
        if length >= begin + len("Message-ID: "):
            assert text.count("Message-ID: <2") == 1


def test_what_others_wrote_into_the_file_stays(path: Path) -> None:
    path.write_text("letters of the wall")
    assert add(FIRST, path) == f"letters of the wall\n{WRITTEN}"
    path.write_text(f"{WRITTEN}seen by eb")
    assert add(SECOND, path).startswith(f"{WRITTEN}seen by eb\nMessage-ID: <2@saltmere.test>\n")


def test_a_text_cannot_pass_itself_off_as_another_letter(path: Path) -> None:
    forged = "Message-ID: <2@saltmere.test>\nEnd: <2@saltmere.test>\nEnd: <1@saltmere.test>"
    text = add(FIRST._replace(text=forged, subject="1\nEnd: <2@saltmere.test>"), path)
    assert "Subject: 1 End: <2@saltmere.test>\n" in text
    assert "\n Message-ID: <2@saltmere.test>\n End: <2@saltmere.test>\n End: <1@sal" in text
    assert "\n\nall 16\n" in add(SECOND, path)


def test_many_writers_at_once_add_each_letter_once(path: Path) -> None:
    letters = [FIRST._replace(message_id=f"<{n % 8}@saltmere.test>") for n in range(64)]
    with ThreadPoolExecutor(16) as pool:
        list(pool.map(lambda one: hand_over(one, File(str(path)), None), letters))
    text = path.read_text()
    assert text.count("Message-ID: ") == text.count("End: ") == 8


def test_a_file_that_another_program_holds_is_not_waited_for_without_end(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    fcntl = pytest.importorskip("fcntl")
    monkeypatch.setattr(sender, "PATIENCE", 0.2)
    with path.open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        error = refused(path)
    assert (error.reason, error.lasting) == ("another program holds it", False)
    monkeypatch.setattr(sender, "PATIENCE", 10)
    with path.open("w") as held:
        fcntl.flock(held, fcntl.LOCK_EX)
        threading.Timer(0.2, lambda: fcntl.flock(held, fcntl.LOCK_UN)).start()
        assert add(FIRST, path) == WRITTEN


@pytest.mark.parametrize(
    ("make", "reason"),
    [
        (lambda path: path / "missing" / "letters", "No such file or directory"),
        (lambda path: path, "Is a directory"),
        (lambda path: (path / "a").touch() or path / "a" / "b", "Not a directory"),
        (lambda path: os.mkfifo(path / "pipe") or path / "pipe", "is no ordinary file"),
        (lambda _: Path("/dev/full"), "is no ordinary file"),
    ],
    ids=["no-folder", "folder", "below-a-file", "pipe", "device"],
)
def test_where_no_letter_can_be_added(
    tmp_path: Path, make: Callable[[Path], Path], reason: str
) -> None:
    error = refused(make(tmp_path))
    assert (error.reason, error.lasting) == (reason, True)


FULL = """
import resource, sys
from checkwatch.answers.notice.plan import File
from checkwatch.run.senders.post import hand_over
from checkwatch.run.senders.letter import Undelivered
from tests.run.senders.test_into_a_file import SECOND
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[2]), resource.RLIM_INFINITY))
try:
    hand_over(SECOND, File(sys.argv[1]), None)
except Undelivered as error:
    print(error.reason.removeprefix(f"file {sys.argv[1]}: "), error.lasting)
"""


@pytest.mark.parametrize("room", [0, 1, 40])
def test_a_full_disk_leaves_no_half_letter(path: Path, room: int) -> None:
    """A limit of the system on the file's size: the write comes short, as on a full disk."""
    add(FIRST, path)
    limit = str(path.stat().st_size + room)
    done = subprocess.run(
        [sys.executable, "-c", FULL, path, limit], cwd=ROOT, capture_output=True, text=True
    )
    assert (done.stdout, done.stderr) == ("File too large False\n", "")
    assert path.read_text() == WRITTEN
    assert add(SECOND, path).endswith("End: <2@saltmere.test>\n\n")


def test_a_disk_that_fails_at_the_last_moment_leaves_nothing_that_looks_delivered(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(_: int) -> None:
        raise OSError(5, os.strerror(5))

    add(FIRST, path)
    with monkeypatch.context() as disk:
        disk.setattr(os, "fsync", fails)
        with pytest.raises(Undelivered, match="Input/output error"):
            hand_over(SECOND, File(str(path)), None)
    assert path.read_text() == WRITTEN


KILLED = """
import itertools, sys
from checkwatch.answers.notice.plan import File
from checkwatch.run.senders.post import hand_over
from tests.run.senders.test_into_a_file import FIRST
for n in itertools.count():
    letter = FIRST._replace(message_id=f"<{n}@saltmere.test>", text="x" * 100_000)
    hand_over(letter, File(sys.argv[1]), None)
    print(n, flush=True)
"""


def test_a_killed_program_loses_no_letter_that_it_called_delivered(path: Path) -> None:
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, "-c", KILLED, path], cwd=ROOT, stdout=subprocess.PIPE
        )
        assert process.stdout is not None
        with process.stdout as said:
            said.readline()
            process.send_signal(signal.SIGKILL)
            said.read()
        process.wait()
    last = FIRST._replace(message_id="<last@saltmere.test>")
    text = add(last, path)
    heads = [line for line in text.splitlines() if line.startswith("Message-ID: ")]
    ends = [line for line in text.splitlines() if line.startswith("End: ")]
    assert [one[12:] for one in heads] == [one[5:] for one in ends]
    assert len(set(heads)) == len(heads)
