"""The entry point: every refusal becomes a message and an exit code, never a traceback."""

from __future__ import annotations

import errno
import gc
import os
import sys
from contextlib import suppress
from typing import TextIO

from checkwatch import errors

#: A command reads many small values that live until it ends: looking for garbage among them over
#: and over, as Python does at every 700th, finds none.
GARBAGE = (200_000, 50, 100)


def main() -> None:
    """Runs one command and leaves with its exit code."""
    gc.set_threshold(*GARBAGE)
    _open_streams()
    # The library puts another stream in the place of one whose reader has gone.
    out, err = sys.stdout, sys.stderr
    for stream in (out, err):
        # A terminal that knows no Unicode shows escapes instead of refusing the answer.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    code = errors.YES
    try:
        code = _run()
        out.flush()
    except OSError as trouble:
        if os.environ.get("CHECKWATCH_DEBUG"):
            raise
        code = code if _unheard(trouble, out, err) else errors.CANNOT_TELL
    _drop(out)
    _drop(err)
    sys.exit(code)


def _open_streams() -> None:
    """Whoever closed a stream hears nothing on it, and no entry fails for that; in the order of
    their numbers, so that none of these becomes the number of another file."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode, encoding="utf-8"))  # noqa: SIM115


def _unheard(trouble: OSError, out: TextIO, err: TextIO) -> bool:
    """Says what stands all the same on the stream on which something can be said. Whether what was
    to be done is done, also where nobody could be told."""
    from checkwatch.store import committed

    wrote = committed.said()
    if wrote or not isinstance(trouble, BrokenPipeError):
        said = f"{wrote}; the answer to that" if wrote else "the answer"
        said = f"{said} could not be given: {(trouble.strerror or '').lower()}"
        for stream in (err, out):
            with suppress(OSError):
                print(said, file=stream, flush=True)
                break
    return committed.is_done()


def _drop(stream: TextIO) -> None:
    """Drops what a stream holds and cannot get rid of: Python would complain of it at its end."""
    try:
        stream.flush()
    except OSError:
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _run() -> int:
    """The exit code of the command line. Raises OSError where it cannot be said what came of it."""
    from checkwatch.cli.quick import quick
    from checkwatch.cli.show import tell_problems

    try:
        code = quick(sys.argv[1:])
        if code is not None:
            return code
        from checkwatch.cli.usage import run

        return run(sys.argv[1:])
    except errors.CheckwatchError as refusal:
        with suppress(OSError):
            tell_problems(refusal.problems)
        return refusal.exit_code
    except KeyboardInterrupt:
        return 130
    except SystemExit as left:
        # The library turns a closed pipe into 1, which here would read as "not cleared".
        if isinstance(left.__context__, BrokenPipeError):
            raise left.__context__ from None
        return left.code if isinstance(left.code, int) else errors.WRONG_USE
    except Exception as error:  # the last line of defence: no answer is better than a wrong one
        if os.environ.get("CHECKWATCH_DEBUG") or _is_of_a_stream(error):
            raise
        with suppress(OSError):
            _tell_failed(error)
        return errors.CANNOT_TELL


def _is_of_a_stream(error: Exception) -> bool:
    """Whether an answer could not be printed: that names no file."""
    if not isinstance(error, OSError) or error.filename is not None:
        return False
    return error.errno in (errno.EPIPE, errno.ENOSPC, errno.EIO, errno.EBADF)


def _tell_failed(error: Exception) -> None:
    from checkwatch.cli.show import tell
    from checkwatch.store import committed

    came = committed.said() or "no answer was given"
    tell(f"checkwatch failed: {type(error).__name__}: {error}; {came}")
    tell("please report it; CHECKWATCH_DEBUG=1 shows where it happened")


if __name__ == "__main__":
    main()
