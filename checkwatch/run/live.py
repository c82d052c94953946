"""The live board: a running clock, data read anew every few seconds, and no old standing.

Reading happens beside the screen, so that a store that hangs does not stop the clock; what could
not be read anew for a minute is no longer shown.
"""

from __future__ import annotations

import signal
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from threading import Thread

from rich.console import Console
from rich.live import Live

from checkwatch.answers.board import Board
from checkwatch.core.instant import SECOND, Instant
from checkwatch.errors import CannotTell
from checkwatch.run.keyboard import keys
from checkwatch.views.board import Blind, Frame, Late, Screen
from checkwatch.views.fleet import next_change
from checkwatch.views.todo import Task, tasks

#: The book is read so often, and at once when a standing ends.
EVERY = 5 * SECOND

#: Data older than this says how old it is.
LATE_AFTER = 10 * SECOND

#: Data older than this is not shown.
BLIND_AFTER = 60 * SECOND

#: Reads the board, and what stands above it.
Load = Callable[[], tuple[Board, Frame]]
Clock = Callable[[], Instant]


@dataclass
class Watch:
    """What was last read, when the reading began, and how reading goes."""

    frame: Frame
    board: Board
    todo: tuple[Task, ...]
    read: Instant
    tried: Instant
    why: str = ""

    @classmethod
    def of(cls, board: Board, frame: Frame, read: Instant) -> Watch:
        """After a first reading."""
        return cls(frame, board, tasks(board), read, read)

    def due(self, now: Instant) -> bool:
        """Whether to read anew: after a while, when a standing ends, when the clock went back."""
        ended = next_change(self.board, self.tried) <= now
        return ended or not 0 <= now - self.tried < EVERY

    def took(self, board: Board, frame: Frame, began: Instant) -> None:
        """A reading came."""
        self.frame, self.board, self.todo = frame, board, tasks(board)
        self.read, self.why = began, ""

    def shown(self, now: Instant, height: int) -> Screen | Blind:
        """What a screen may show by now. A clock that went back leaves no age to trust."""
        age = now - self.read
        if not 0 <= age < BLIND_AFTER:
            return Blind(self.frame, now, Late(self.read, self.why))
        late = Late(self.read, self.why) if self.why or age >= LATE_AFTER else None
        return Screen(self.board, self.todo, self.frame, now, height, late)


class Reader:
    """Reads the book in a thread of its own, one reading at a time."""

    def __init__(self, load: Load) -> None:
        self._load = load
        self._came: SimpleQueue[tuple[Board, Frame] | Exception] = SimpleQueue()
        self._began: Instant | None = None

    def start(self, now: Instant) -> bool:
        """Begins a reading unless one is under way."""
        if self._began is not None:
            return False
        self._began = now
        # A daemon: who quits does not wait for a store that hangs.
        Thread(target=self._read, daemon=True).start()
        return True

    def _read(self) -> None:
        try:
            self._came.put(self._load())
        except Exception as error:  # carried to the screen's thread, which knows what to do
            self._came.put(error)

    def tell(self, watch: Watch) -> bool:
        """Whether something came; raises what is no refusal of the store."""
        try:
            came = self._came.get_nowait()
        except Empty:
            return False
        began, self._began = self._began, None
        if isinstance(came, CannotTell):
            watch.why = "; ".join(map(str, came.problems))
        elif isinstance(came, Exception):
            raise came
        elif began is not None:
            watch.took(*came, began)
        return True


def live(load: Load, clock: Clock, console: Console) -> None:
    """Shows the board until q, Ctrl-C or SIGTERM.

    Raises what `load` raises at the first reading: without a book there is no board.
    """
    # A board that is ended must not leave an old standing on the terminal.
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    began = clock()
    with console.status("reading the book"):
        watch = Watch.of(*load(), began)
    with (
        suppress(KeyboardInterrupt),
        keys() as pressed,
        Live(console=console, screen=True, auto_refresh=False) as screen,
    ):
        _run(watch, Reader(load), clock, console, screen, pressed)


def _run(
    watch: Watch,
    reader: Reader,
    clock: Clock,
    console: Console,
    screen: Live,
    pressed: Callable[[], str],
) -> None:
    """Draws when the second, the size or the data changes."""
    drawn: object = None
    while True:
        now = clock()
        news = reader.tell(watch)
        if watch.due(now) and reader.start(now):
            watch.tried = now
        size = console.size
        looks = (now // SECOND, size)
        if news or looks != drawn:
            screen.update(watch.shown(now, size.height), refresh=True)
            drawn = looks
        if pressed() in ("q", "Q"):
            return
