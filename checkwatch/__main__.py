"""The entry point: every refusal becomes a message and an exit code, never a traceback."""

from __future__ import annotations

import gc
import os
import sys

from checkwatch import errors

#: A command reads many small values that live until it ends: looking for garbage among them over
#: and over, as Python does at every 700th, finds none.
GARBAGE = (200_000, 50, 100)


def main() -> None:
    """Runs one command and leaves with its exit code."""
    gc.set_threshold(*GARBAGE)
    for stream in (sys.stdout, sys.stderr):
        # A terminal that knows no Unicode shows escapes instead of refusing the answer.
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")
    try:
        code = _run()
        sys.stdout.flush()
    except BrokenPipeError:
        # Whoever read the answer has gone; without this Python complains once more at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = errors.CANNOT_TELL
    sys.exit(code)


def _run() -> int:
    from checkwatch.cli.quick import quick
    from checkwatch.cli.show import tell, tell_problems

    try:
        code = quick(sys.argv[1:])
        if code is not None:
            return code
        from checkwatch.cli.usage import run

        return run(sys.argv[1:])
    except errors.CheckwatchError as refusal:
        tell_problems(refusal.problems)
        return refusal.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        raise
    except SystemExit as left:
        # The library turns a closed pipe into 1, which here would read as "not cleared".
        if isinstance(left.__context__, BrokenPipeError):
            return errors.CANNOT_TELL
        return left.code if isinstance(left.code, int) else errors.WRONG_USE
    except Exception as error:  # the last line of defence: no answer is better than a wrong one
        if os.environ.get("CHECKWATCH_DEBUG"):
            raise
        tell(f"checkwatch failed: {type(error).__name__}: {error}; no answer was given")
        tell("please report it; CHECKWATCH_DEBUG=1 shows where it happened")
        return errors.CANNOT_TELL


if __name__ == "__main__":
    main()
