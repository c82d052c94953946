"""A machine that runs by itself, as a terminal shows it: a bar until it is over by the clock.

That it is over by the clock says nothing of how it ended.
"""

from __future__ import annotations

from collections.abc import Callable

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn

from checkwatch.core.instant import MINUTE, SECOND, Instant
from checkwatch.core.rulebook import Minutes
from checkwatch.run.keyboard import keys, rest_of_line


def wait(since: Instant, minutes: Minutes, clock: Callable[[], Instant], prompt: str) -> str | None:
    """Shows how long it still runs; the line that somebody typed before it was over, else None.

    Any key ends the bar, for the machine may be quicker than its rule, and begins the answer to
    the prompt; q alone is one. Raises KeyboardInterrupt at the end of the input.
    """
    watched = since + int(minutes.watched * MINUTE)
    over = watched + int(minutes.alone * MINUTE)
    # As wide as a telephone's screen has room for, and no colour: it is no verdict.
    bar = BarColumn(12, style="dim", complete_style="default", finished_style="default")
    columns = (TextColumn("{task.description}"), bar, TextColumn("{task.fields[left]}"))
    console = Console(stderr=True, highlight=False)
    with keys() as pressed, Progress(*columns, console=console, auto_refresh=False) as progress:
        task = progress.add_task("", total=over - since, left="")
        while (now := clock()) < over:
            phase = "stay with it" if now < watched else "by itself"
            done = max(now - since, 0)
            progress.update(task, completed=done, description=phase, left=_left(over - now))
            progress.refresh()
            if key := pressed():
                break
        else:
            progress.update(task, completed=over - since, description="over by the clock", left="")
            progress.refresh()
            return None
        progress.stop()
        return "q" if key in ("q", "Q") else rest_of_line(key, pressed, prompt)


def _left(micros: int) -> str:
    """How long it is still, never less than it is."""
    seconds = -(-micros // SECOND)
    return f"{seconds} s left" if seconds < 60 else f"{-(-seconds // 60)} min left"
