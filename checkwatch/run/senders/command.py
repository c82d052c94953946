"""A command: gets the letter's text on its standard input and answers with its exit code."""

from __future__ import annotations

import os
import signal
import subprocess
import tempfile
import threading
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import IO

from checkwatch.run.senders.letter import Letter, Undelivered, one_line, told

#: How long a command may take, in seconds; our own choice.
PATIENCE = 30.0

#: So many bytes of what a command complains of are kept, its last ones.
_KEPT = 2_000

#: What holds of a command itself, however often it is tried.
_LASTING = (FileNotFoundError, NotADirectoryError, PermissionError)


def run_with(letter: Letter, words: Sequence[str]) -> None:
    """Runs a command, without a shell, and returns when it ends with exit code 0. Raises
    Undelivered.

    The letter's subject is its last word; the Message-ID stands in CHECKWATCH_MESSAGE_ID, so that
    it can tell a doubled letter. After `PATIENCE` it is killed with all that it started.
    """
    if not words or not words[0]:
        raise Undelivered("command: it is empty", lasting=True)
    where = f"command {one_line(Path(words[0]).name)}"
    with tempfile.TemporaryFile() as text:
        # From a file: a command that reads nothing, or slowly, cannot hold us.
        text.write(f"{letter.text.rstrip()}\n".encode("utf-8", "replace"))
        text.seek(0)
        process = _started(letter, words, text, where)
    code, complaint = _ended(process, where)
    if code:
        how = f"ended with exit code {code}" if code > 0 else f"was ended by signal {-code}"
        said = told(complaint, *(word for word in words[1:] if len(word) > 3))
        raise Undelivered(f"{where}: {how}{', it says ' if said else ''}{said}")


def _started(
    letter: Letter, words: Sequence[str], text: IO[bytes], where: str
) -> subprocess.Popen[bytes]:
    subject = one_line(letter.subject)
    try:
        return subprocess.Popen(
            # A subject that begins like an option is none with a blank before it.
            [*words, f" {subject}" if subject.startswith("-") else subject],
            stdin=text,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            env={**os.environ, "CHECKWATCH_MESSAGE_ID": one_line(letter.message_id)},
            start_new_session=True,
        )
    except (OSError, ValueError) as error:
        what = told(getattr(error, "strerror", None) or "its words cannot be passed on")
        lasting = isinstance(error, (*_LASTING, ValueError))
        raise Undelivered(f"{where}: cannot be run: {what}", lasting=lasting) from None


def _ended(process: subprocess.Popen[bytes], where: str) -> tuple[int, str]:
    """The exit code, and the last line on standard error."""
    kept = bytearray()
    reader = threading.Thread(target=_keep_tail, args=(process, kept), daemon=True)
    reader.start()
    try:
        code = process.wait(PATIENCE)
    except subprocess.TimeoutExpired:
        raise Undelivered(f"{where}: did not end within {PATIENCE:g} s and was killed") from None
    finally:
        if process.returncode is None:
            _kill(process)
        # What a command left running may hold its standard error open: that is not waited for.
        reader.join(1)
    lines = bytes(kept).decode("utf-8", "replace").split("\n")
    return code, next((line for line in reversed(lines) if line.strip()), "")


def _keep_tail(process: subprocess.Popen[bytes], kept: bytearray) -> None:
    """Reads to the end, so that a command that complains much does not stand still."""
    assert process.stderr is not None
    with process.stderr as pipe:
        while chunk := os.read(pipe.fileno(), 65_536):
            kept += chunk
            del kept[:-_KEPT]


def _kill(process: subprocess.Popen[bytes]) -> None:
    """It leads a group of its own, in which is all that it started."""
    with suppress(ProcessLookupError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()
    with suppress(subprocess.TimeoutExpired):
        process.wait(5)
