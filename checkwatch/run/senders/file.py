"""A file: each letter is added to it whole, once, or not at all."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from email.utils import format_datetime
from pathlib import Path
from typing import BinaryIO, NamedTuple

from checkwatch.core.instant import to_datetime
from checkwatch.run.senders.letter import Letter, Undelivered, one_line

try:
    import fcntl
except ImportError:  # not on every system; there nothing keeps two programs apart
    fcntl = None  # type: ignore[assignment]

#: The first and the last line of a letter begin so. Only one with its last line is whole.
_HEAD, _END = b"Message-ID: ", b"End: "

#: How long another program may hold the file, in seconds; our own choice.
PATIENCE = 10.0

#: What holds of a path itself, however often it is tried.
_LASTING = (FileNotFoundError, NotADirectoryError, IsADirectoryError, PermissionError)


class _Seen(NamedTuple):
    """Whether the letter stands in the file, where the next one begins, and after what: a line
    end where the file ends in the middle of a line."""

    stands: bool
    begin: int
    gap: bytes


def add_to(letter: Letter, path: str) -> None:
    """Adds a letter to a file and returns when it is on the disk. Raises Undelivered.

    A letter whose Message-ID stands in the file, with its end, is not added again. What another
    attempt left half written at the file's end, killed in the middle, is cut off.
    """
    where = f"file {one_line(path)}"
    try:
        with _opened(path, where) as file, _locked(file, where):
            seen = _look(file, letter)
            if seen.stands:  # but perhaps not on the disk yet
                os.fsync(file.fileno())
            else:
                _write(file, seen.begin, seen.gap + _written(letter))
            _sync_folder(path)
    except OSError as error:
        lasting = isinstance(error, _LASTING)
        raise Undelivered(f"{where}: {error.strerror}", lasting=lasting) from None


@contextmanager
def _opened(path: str, where: str) -> Iterator[BinaryIO]:
    # A line or a pipe with nobody at its other end may hold who opens it: it opens at once, and is
    # then refused.
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT | getattr(os, "O_NONBLOCK", 0)
    flags |= getattr(os, "O_BINARY", 0)
    with os.fdopen(os.open(path, flags, 0o666), "r+b", buffering=0) as raw:
        if not stat.S_ISREG(os.fstat(raw.fileno()).st_mode):
            raise Undelivered(f"{where}: is no ordinary file", lasting=True)
        yield raw


@contextmanager
def _locked(file: BinaryIO, where: str) -> Iterator[None]:
    end = time.monotonic() + PATIENCE
    while fcntl:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
            break
        except BlockingIOError:
            if time.monotonic() > end:
                raise Undelivered(f"{where}: another program holds it") from None
            time.sleep(0.05)
    yield  # the lock ends with the file


def _look(file: BinaryIO, letter: Letter) -> _Seen:
    """Reads the file once: is the letter in it, and is its last one whole?"""
    wanted = _END + one_line(letter.message_id).encode()
    offset, begun, stands, line = 0, -1, False, b"\n"
    with open(file.fileno(), "rb", closefd=False) as lines:
        for line in lines:
            if line.startswith(_HEAD):
                begun = offset
            elif line.startswith(_END) and line.endswith(b"\n"):
                begun = -1
                stands = stands or line.rstrip() == wanted
            offset += len(line)
    if begun >= 0:
        return _Seen(stands, begun, b"")
    return _Seen(stands, offset, b"" if line.endswith(b"\n") else b"\n")


def _write(file: BinaryIO, begin: int, data: bytes) -> None:
    """One write, so that who reads along sees the letter whole; one that came short is undone."""
    os.ftruncate(file.fileno(), begin)
    try:
        written = os.write(file.fileno(), data)
        if written < len(data):
            # Only the next write is told what was in the way.
            written += os.write(file.fileno(), data[written:])
        if written < len(data):
            raise OSError(0, "it was not written whole")
        os.fsync(file.fileno())
    except OSError:
        with suppress(OSError):
            os.ftruncate(file.fileno(), begin)
        raise


def _written(letter: Letter) -> bytes:
    """The letter as it stands in the file; a line of its text that looks like a first or last
    line is moved by a blank."""
    message_id, date = one_line(letter.message_id), format_datetime(to_datetime(letter.date))
    lines = [
        f"Message-ID: {message_id}",
        f"Date: {date}",
        f"To: {one_line(letter.recipient)}",
        f"Subject: {one_line(letter.subject)}",
        "",
        *(_plain(line) for line in letter.text.rstrip().splitlines()),
        "",
        f"End: {message_id}",
        "",
        "",
    ]
    return "\n".join(lines).encode("utf-8", "replace")


def _plain(line: str) -> str:
    return f" {line}" if line.encode("utf-8", "replace").startswith((_HEAD, _END)) else line


def _sync_folder(path: str) -> None:
    """A new file is lost with the power, where its folder is not on the disk."""
    with suppress(OSError):  # not every system opens a folder
        folder = os.open(Path(path).parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)
