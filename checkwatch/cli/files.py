"""Files that a command was given, read whole or as a stream, with every trouble named."""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Literal, TextIO

from checkwatch.errors import Problem, WrongUse


def text_of(path: Path) -> str:
    """The text of a file; WrongUse where it cannot be read as UTF-8."""
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise WrongUse(Problem(str(path), "is not UTF-8 text", "save it as UTF-8")) from None
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None


@contextmanager
def opened(path: Path) -> Iterator[TextIO]:
    """A CSV file to read; bytes that are no UTF-8 come through as surrogates for the reader."""
    try:
        stream = path.open(encoding="utf-8-sig", errors="surrogateescape", newline="")
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    with stream:
        yield stream


@contextmanager
def made(path: Path, mode: Literal["w", "a"] = "w") -> Iterator[TextIO]:
    """A file to write; with "a" what it holds already stays."""
    try:
        stream = path.open(mode, encoding="utf-8", newline="")
    except (OSError, ValueError) as error:
        raise _unreadable(path, error) from None
    with stream:
        yield stream


def put(path: Path, text: str) -> None:
    """Writes a file that others read meanwhile: they find the old one or the new one, and never
    half of one."""
    whole = Path(os.path.realpath(path))
    if whole.exists() and not whole.is_file():  # a pipe or a device, which stays what it is
        with made(path) as stream:
            stream.write(text)
        return
    beside = whole.with_name(f".{whole.name}.{os.getpid()}")
    try:
        with made(beside) as stream:
            stream.write(text)
        beside.replace(whole)
    except OSError as error:
        raise _unreadable(path, error) from None
    finally:
        beside.unlink(missing_ok=True)


def refuse_to_overwrite(kept: Iterable[Path | str | None], made: Iterable[Path | None]) -> None:
    """Raises WrongUse where a file to write is one that must stay, or is named twice."""
    taken = {os.path.realpath(path) for path in kept if path}
    for path in filter(None, made):
        real = os.path.realpath(path)
        if real in taken:
            what = "it is in use by this command and would be lost"
            raise WrongUse(Problem(str(path), what, "name another file"))
        taken.add(real)


def _unreadable(path: Path, error: Exception) -> WrongUse:
    reason = (getattr(error, "strerror", None) or str(error)).lower()
    return WrongUse(Problem(str(path), reason, "name another file"))
