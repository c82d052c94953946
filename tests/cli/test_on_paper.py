"""The morning sheet and the calendar as commands, and the guide that shows them."""

from __future__ import annotations

import html
import os
import re
import shlex
import shutil
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import icalendar
import pytest
from freezegun import freeze_time

from checkwatch.core.instant import from_datetime, iso
from checkwatch.run import clock, demo
from tests.cli.line import run
from tests.test_readme import steps

GUIDE = Path(__file__).parents[2] / "docs" / "guide" / "on-paper.md"

NOON = "2026-03-12T10:40:00Z"

#: The example's checks of a week and longer, but for that of the fan filter, which goes by use.
LONG = {"oxygen-alarm", "monthly", "yearly", "trolley-stock", "warmer-check"}


@pytest.fixture(scope="module")
def frozen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example's book on the day of the example; it is only asked."""
    path = tmp_path_factory.mktemp("frozen") / "example.db"
    with freeze_time(NOON):
        demo.build(str(path), clock.now())
    return path


def tags(path: Path) -> list[str]:
    return re.findall(r'<span class="tag">(.*?)</span>', path.read_text(encoding="utf-8"))


def events(text: str) -> list[Any]:
    return [*icalendar.Calendar.from_ical(text).walk("VEVENT")]


# The sheet


@pytest.mark.parametrize(
    ("where", "wanted"),
    [
        ("theatre 2", ["AM-02", "KIT-02", "AM-14", "KIT-14"]),  # with its anaesthetic room
        ("East  building", ["AM-18", "KIT-18"]),
        ("Recovery", ["RT-01", "WM-01"]),
    ],
)
def test_a_sheet_of_a_place_or_an_area(
    suite: str, tmp_path: Path, where: str, wanted: list[str]
) -> None:
    out = tmp_path / "sheet.html"
    said = run("--db", suite, "sheet", where, "--out", out)
    assert (said.code, tags(out)) == (0, wanted)
    assert f"The sheet of {len(wanted)} machines written to" in said.out


def test_a_sheet_of_all_has_every_machine_of_the_board(suite: str, tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    assert run("--db", suite, "sheet", "--out", out).code == 0
    board = run("--db", suite, "board", "--once", "--json").document["machines"]
    assert tags(out) == [machine["machine"] for machine in board]
    page = out.read_text(encoding="utf-8")
    assert "EXAMPLE: everything in this book is invented." in page
    assert "clear" not in page.lower()


def test_what_is_no_place_or_area_says_what_may_be_meant(suite: str, tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    wrong = run("--db", suite, "sheet", "Day sugery", "--out", out)
    assert (wrong.code, "did you mean Day surgery" in wrong.err) == (6, True)
    tag = run("--db", suite, "sheet", "am-04", "--out", out)
    assert (tag.code, tag.err) == (6, "AM-04: is a machine; name its place or area\n")
    assert not out.exists()


def test_a_sheet_for_tomorrow_is_as_of_then(frozen: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    with freeze_time(NOON):
        asked = ("--at", "tomorrow 06:50", "--known-at", "10:00")
        assert run("--db", frozen, "sheet", *asked, "--out", out).code == 0
    page = out.read_text(encoding="utf-8")
    assert "<strong>As of Fri 13 Mar 2026 06:50 GMT</strong>, if nothing more is written" in page
    assert "As the book was known on Thu 12 Mar 2026 10:00 GMT" in page


def test_no_sheet_or_calendar_is_written_over_the_book(small: str) -> None:
    for command in ("sheet", "calendar"):
        assert run("--db", small, command, "--out", small).code == 2
    assert run("--db", small, "verify").code == 0


@pytest.fixture
def doubted(frozen: Path, tmp_path: Path) -> Path:
    """A book that is asked by a clock that is behind it."""
    return Path(shutil.copy(frozen, tmp_path / "doubted.db"))


def test_a_sheet_of_a_book_that_is_not_believed_says_so(doubted: Path, tmp_path: Path) -> None:
    out = tmp_path / "sheet.html"
    with freeze_time("2026-03-11T10:40:00Z"):
        assert run("--db", doubted, "sheet", "--out", out).code == 6
    page = out.read_text(encoding="utf-8")
    assert "The book is not believed: " in page
    assert 'class="runs"' not in page


# The calendar


def test_the_calendar_is_due_when_the_windows_are(frozen: Path) -> None:
    """In the suite's zone, as another implementation reads it."""
    with freeze_time(NOON):
        found = events(run("--db", frozen, "calendar").out)
        due = {
            (tag, window["due"])
            for tag in {str(one["SUMMARY"]).split(",")[0] for one in found}
            for window in run("--db", frozen, "windows", tag, "--json").document["windows"]
            if window["check"] in LONG and window["until"] > NOON and window["due"] > NOON
        }
    timed = [one for one in found if one["DTSTART"].params.get("TZID") == "Europe/London"]
    machines = [str(one["SUMMARY"]).split(",")[0] for one in timed]
    instants = [iso(from_datetime(one["DTSTART"].dt)) for one in timed]
    assert sorted(zip(machines, instants, strict=True)) == sorted(due)
    assert len(timed) >= 60
    whole = [one for one in found if one not in timed]
    assert {one["DTSTART"].dt for one in whole} == {date(2026, 3, 12)}
    assert "AM-08, Theatre 8: oxygen-failure alarm was due Wed 11 Mar 06:50 GMT" in {
        str(one["SUMMARY"]) for one in whole
    }


def test_an_event_keeps_its_identifier_and_a_new_time_has_a_higher_sequence(
    frozen: Path, tmp_path: Path
) -> None:
    book = shutil.copy(frozen, tmp_path / "book.db")
    with freeze_time(NOON) as now:
        before = events(run("--db", book, "calendar").out)
        now.tick(timedelta(minutes=20))
        same = events(run("--db", book, "calendar").out)
        words = ("done", "AM-01", "oxygen-alarm", "pass", "--measure", "alarm=9", "--by", "kd")
        assert run("--db", book, *words).code == 0
        now.tick(timedelta(minutes=20))
        after = events(run("--db", book, "calendar").out)
    assert [one.to_ical() for one in before] == [one.to_ical() for one in same]
    assert [one["UID"] for one in before] == [one["UID"] for one in after]
    assert len({one["UID"] for one in before}) == len(before)
    changed = [(b, a) for b, a in zip(before, after, strict=True) if b["DTSTART"] != a["DTSTART"]]
    assert [str(a["SUMMARY"]) for _, a in changed] == ["AM-01, Theatre 1: oxygen-failure alarm due"]
    assert all(b["SEQUENCE"] < a["SEQUENCE"] for b, a in changed)
    assert all(b["DTSTAMP"].dt < a["DTSTAMP"].dt for b, a in changed)


def test_a_calendar_of_an_area(suite: str, tmp_path: Path) -> None:
    out = tmp_path / "east.ics"
    said = run("--db", suite, "calendar", "--area", "east building", "--out", out)
    assert (said.code, said.out, said.err) == (0, "", f"{out} is written\n")
    found = events(out.read_bytes().decode())
    assert {str(one["LOCATION"]) for one in found} == {"Imaging suite"}
    unknown = run("--db", suite, "calendar", "--area", "West", "--out", out)
    assert (unknown.code, "there is no area 'West'" in unknown.err) == (2, True)


def test_a_book_that_is_not_believed_has_one_event_that_says_so(doubted: Path) -> None:
    with freeze_time("2026-03-11T10:40:00Z"):
        said = run("--db", doubted, "calendar")
    (only,) = events(said.out)
    assert said.code == 6
    assert only["DTSTART"].dt == date(2026, 3, 11)
    assert str(only["SUMMARY"]) == "The book is not believed: no date can be told"


def test_a_calendar_is_replaced_whole_and_stays_where_nothing_can_be_told(
    suite: str, tmp_path: Path
) -> None:
    out, link = tmp_path / "checks.ics", tmp_path / "link.ics"
    out.write_text("old")
    link.symlink_to(out)
    assert run("--db", tmp_path / "nowhere.db", "calendar", "--out", link).code == 6
    assert out.read_text() == "old"
    assert run("--db", suite, "calendar", "--out", link).code == 0
    assert (link.is_symlink(), out.read_text()[:15]) == (True, "BEGIN:VCALENDAR")
    assert {path.name for path in tmp_path.iterdir()} == {"checks.ics", "link.ics"}
    assert run("--db", suite, "calendar", "--out", tmp_path / "no" / "x.ics").code == 2
    assert run("--db", suite, "calendar", "--out", os.devnull).code == 0
    assert not Path(os.devnull).is_file()


def test_no_calendar_says_whether_a_machine_may_be_used(frozen: Path) -> None:
    with freeze_time(NOON):
        assert "clear" not in run("--db", frozen, "calendar").out.replace("\r\n ", "").lower()


# The guide


def test_the_guide_shows_what_the_program_does(
    frozen: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("CHECKWATCH_DB", str(frozen))
    guide = GUIDE.read_text(encoding="utf-8")
    shown = [*steps(guide)]
    assert len(shown) == 5
    with freeze_time(NOON):
        for command, expected in shown:
            said = run(*shlex.split(command)[1:])
            assert (said.out + said.err).split() == expected.split(), command
    page = Path("sheet.html").read_text(encoding="utf-8")
    words = " ".join(html.unescape(re.sub(r"<[^>]*>", " ", page)).split())
    (sample,) = re.findall(r"```text\n(Theatre 4.*?)```", guide, re.DOTALL)
    for time_and_check in re.findall(r"\w{3} \d+ \w{3} [\d:]{5} \w{3}: .*", sample):
        assert time_and_check in words.replace(" :", ":")
    assert "Leak test (4 min) was voided by an absorbent change on Thu 12 Mar 10:22 GMT" in words
    text = Path("checks.ics").read_bytes().decode().replace("\r\n ", "").replace("\\,", ",")
    assert "SUMMARY:AM-04, Theatre 4: yearly service due\r\n" in text
