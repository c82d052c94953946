"""On a screen as narrow as a telephone's the machine, its standing and its end are never cut."""

from __future__ import annotations

import re

import pytest

from checkwatch.views.board import CAUTION
from tests.board.fleet import many, twelve
from tests.board.test_board_screen import expect, printed, screen

STANDING = re.compile(
    r"  ([.<~!?-]) (cleared|limited|by exception|not cleared|unknown|withdrawn)(  |$)"
)


def test_twelve_machines_on_a_telephone() -> None:
    text = printed(screen(twelve(), 30), 40)
    expect("twelve-40x30", text)
    assert len(text.splitlines()) == 30


@pytest.mark.parametrize(("width", "height"), [(40, 30), (40, 60), (50, 24), (59, 40)])
def test_what_decides_is_whole(width: int, height: int) -> None:
    text = printed(screen(twelve(), height), width)
    assert max(map(len, text.splitlines())) <= width
    assert CAUTION in " ".join(text.split())
    body = text.splitlines()
    shown = [number for number, line in enumerate(body) if STANDING.match(line)]
    assert len(shown) >= 4
    for number in shown:
        assert re.search(r"[A-Z]+-\d+|cleared\)|^Theatre|^Anaesthetic", body[number - 1])
        assert "…" not in body[number - 1]
        assert not re.search(r"\d\d:\d?…|\d\d:\d\d…", body[number]), "its end is cut"


def test_what_does_not_fit_is_counted() -> None:
    lines = printed(screen(many(300), 30), 40).splitlines()
    (counted,) = (line for line in lines if re.match(r"and \d+ more: ", line))
    shown = sum(bool(STANDING.match(line)) for line in lines)
    assert int(counted.split()[1]) + shown == 300


def test_printed_once_nothing_is_cut() -> None:
    given = twelve()
    text = printed(screen(given, None), 40)
    assert "…" not in text.split("Main")[-1]
    for placed in given.machines:
        assert placed.machine.machine in text
