"""The names by which watchers know each other, and whether one of them is dead for certain."""

from __future__ import annotations

import os
import socket

from checkwatch.core.instant import Instant, iso


def name_of_process(now: Instant) -> str:
    """A name that no other process has: where it runs, its number, and when it began."""
    return f"{socket.gethostname()} {os.getpid()} {iso(now)}"


def is_dead(holder: str) -> bool:
    """Whether a holder of the lease ran on this computer and does no longer; what ran elsewhere may
    be alive."""
    host, _, rest = holder.partition(" ")
    number = rest.partition(" ")[0]
    if host != socket.gethostname() or not number.isdigit():
        return False
    if int(number) == os.getpid():
        return True  # Nobody but this process has its number: that one is gone.
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except (OSError, OverflowError):
        return False
    return False
