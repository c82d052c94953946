"""The guide to notices is what the program does: each command at the time of its heading, and a
watcher that is killed after it decided and before it handed anything over."""

from __future__ import annotations

import logging
import re
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from freezegun import freeze_time

from checkwatch.run import clock, demo
from checkwatch.run.watcher.daemon import Daemon
from checkwatch.run.watcher.deliver import deliver
from tests.cli.test_one_morning import said
from tests.test_readme import steps
from tests.views.page_reader import Reader

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "notices.md"

#: When the last two commands are typed; the others are at the time of their heading.
LATER = ["05:39", "05:50"]


@pytest.fixture(autouse=True)
def _no_log_is_left() -> Iterator[None]:
    yield
    for name in ("checkwatch", "apscheduler"):
        logging.getLogger(name).handlers.clear()


def told() -> Iterator[tuple[str, str, str]]:
    """Time, command and output, in the order in which they are typed."""
    time, later = "", iter(LATER)
    for part in re.split(r"^## ", PAGE.read_text(encoding="utf-8"), flags=re.MULTILINE):
        found = re.match(r"\d\d:\d\d", part)
        for command, shown in steps(part):
            time = found[0] if found else next(later)
            yield time, command, shown


def holds(shown: str, printed: str, command: str) -> None:
    """What the guide shows stands in what was printed, in its order."""
    left = " ".join(printed.split())
    for piece in filter(str.strip, re.split(r"^…$", shown, flags=re.MULTILINE)):
        before, folded, left = left.partition(" ".join(piece.split()))
        assert folded, (command, before)


def test_the_guide_to_notices_goes_as_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHECKWATCH_NOTICES", "notices.toml")
    shutil.copy(demo.folder() / "notices.toml", tmp_path)
    running: list[Daemon] = []

    def looks_once(daemon: Daemon) -> None:
        running.append(daemon)
        daemon._tick()
        deliver(daemon._watcher.url, daemon._watcher.plan, clock.now)

    monkeypatch.setattr(Daemon, "run", looks_once)
    found = [*told()]
    assert len(found) == 10
    with freeze_time("2026-03-12T05:20:00Z") as frozen:
        demo.build(str(tmp_path / "book.db"), clock.now())
        for time, command, shown in sorted(found, key=lambda one: one[0]):
            frozen.move_to(f"2026-03-12T{time}:00Z")
            if command.startswith("cat "):
                holds(shown, Path(command.removeprefix("cat ")).read_text(), command)
                continue
            holds(shown, said(command, frozen, tmp_path), command)
            if command.startswith("checkwatch done"):
                running[-1]._tick()  # and is killed
    told_engineer = Path("told-engineer.txt").read_text()
    assert told_engineer.count("Subject: AM-06, Theatre 6: leak test failed") == 1
    assert Path("told-coordinator.txt").read_text().count("machines to see to, 52 min\n\n") == 1
    page = Reader(Path("page/area-main-theatres.html").read_text(encoding="utf-8")).text
    assert re.search(r"To do now.*AM-06.*leak test", page, re.IGNORECASE)
