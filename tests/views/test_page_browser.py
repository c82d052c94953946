"""The pages in a browser: on a phone and on a wall, by light and by dark, and as they grow old."""

from __future__ import annotations

import re
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from checkwatch.answers.board import Board, board
from checkwatch.core import entry as e
from checkwatch.core.instant import from_datetime
from checkwatch.run import demo
from checkwatch.run.world import ask as ask_book
from checkwatch.views.page import dead, pages
from checkwatch.views.words import LOOKS, Here
from tests.board.fleet import RULES, twelve, with_places
from tests.build import ZONE, ask, book, did, enrolled, passed, t, wrote
from tests.views.page_reader import Reader, dumped, measured

MAIN = "area-main-theatres.html"
PHONE, WALL = (390, 844), (1920, 1080)
WORDS = re.compile("|".join(look.word for look in LOOKS.values()))


def forty() -> Board:
    """Forty places with two machines each, of which some are limited, withdrawn or never tested."""
    entries: list[e.Entry] = []
    for n in range(80):
        tag = f"AM-{n:02}"
        entries.append(enrolled(tag, f"Theatre {n // 2 + 1}"))
        if n % 11 == 3:
            limits = ("no air supply, cylinder only",)
            entries.append(did(tag, "self-test", e.Outcome.LIMITED, "06:30", limits=limits))
        elif n % 16 != 5:
            entries.append(passed(tag, "self-test", "06:40"))
        if n % 33 == 8:
            entries.append(wrote(e.Withdrawn, tag, "06:45", note="wheel loose"))
    places = [(f"Theatre {n}", "theatre", "Main theatres") for n in range(1, 41)]
    return board(with_places(book(RULES, *entries), places), ask("06:50", "06:50"))


def of(given: Board) -> dict[str, str]:
    now = given.question.now
    made = pages(given, Here(ZONE, now), "Saltmere theatres", "")
    return {name: page.render(now) for name, page in made.items()}


def refreshed(page: str, seconds_ago: int = 0) -> str:
    """The page as if it had been refreshed by the real clock; its lines end next year."""
    moment = datetime.now(UTC) - timedelta(seconds=seconds_ago)
    page = re.sub(r'(<time datetime=)"[^"]*"', rf'\1"{moment:%Y-%m-%dT%H:%M:%SZ}"', page)
    return re.sub(r'data-until="[^"]*"', f'data-until="{moment.year + 1}-12-31T00:00:00Z"', page)


@pytest.fixture(scope="module")
def example(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """The pages of the example suite, made now."""
    url = str(tmp_path_factory.mktemp("book") / "example.db")
    now = from_datetime(datetime.fromtimestamp(time.time(), UTC))
    demo.build(url, now)
    asked = ask_book(url, now)
    found = board(asked.book, asked.question)
    made = pages(found, asked.here, asked.title, asked.banner)
    return {name: page.render(asked.here.now) for name, page in made.items()}


def shown(tmp_path: Path, page: str, size: tuple[int, int], *, dark: bool = False) -> str:
    path = tmp_path / "page.html"
    path.write_text(page)
    return dumped(path, *size, dark=dark)


def whole(tmp_path: Path, page: str, size: tuple[int, int], *, dark: bool) -> dict[str, str]:
    found = measured(tmp_path, refreshed(page), size, dark=dark)
    assert found["inner"] == str(size[0])
    assert int(found["wide"]) <= size[0]
    assert found["cut"] == ""
    assert found["paper"] == ("rgb(16, 18, 20)" if dark else "rgb(255, 255, 255)")
    return found


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_nothing_is_cut_off_on_a_phone(tmp_path: Path, example: dict[str, str], dark: bool) -> None:
    for page in (example[MAIN], example["index.html"], of(forty())[MAIN]):
        whole(tmp_path, page, PHONE, dark=dark)


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_on_a_wall_every_place_is_in_sight_at_once(
    tmp_path: Path, example: dict[str, str], dark: bool
) -> None:
    for page, smallest in ((example[MAIN], 16), (of(forty())[MAIN], 13), (of(twelve())[MAIN], 26)):
        found = whole(tmp_path, page, WALL, dark=dark)
        assert int(found["high"]) <= WALL[1]
        assert float(found["size"]) >= smallest


def test_long_names_and_a_book_that_cannot_be_read_are_not_cut_off_either(tmp_path: Path) -> None:
    place = "Theatre of the Long Name in the New Wing by the River, second floor, on the left"
    tag = "ANAESTHETIC-MACHINE-NUMBER-" + "0123456789" * 4
    entries = (
        enrolled(tag, place),
        did(tag, "self-test", e.Outcome.LIMITED, "06:30", limits=("nolowflow" * 20,)),
    )
    given = board(with_places(book(RULES, *entries), [(place, "theatre", "A" * 80)]), ask())
    unread = dead({}, "x" * 300, None, Here(ZONE, t("06:50")), "Saltmere", "")["index.html"]
    for page in ([*of(given).values()][1], unread.render(t("06:50"))):
        whole(tmp_path, page, PHONE, dark=False)
        whole(tmp_path, page, WALL, dark=False)


def test_a_page_just_refreshed_shows_its_standings(tmp_path: Path, example: dict[str, str]) -> None:
    """Its policy lets the script run: without it there would be no class at the root."""
    after = shown(tmp_path, example[MAIN], WALL)
    assert Reader(after).elements[0][1] == {"lang": "en", "class": ""}
    assert [*Reader(after).lines()] == [*Reader(example[MAIN]).lines()]


@pytest.mark.parametrize(
    ("seconds_ago", "told"),
    [
        (180, "not refreshed since 06:50:00: standings are not known"),
        (-180, "this screen's clock is behind the last refresh of 06:50:00: standings are not"),
    ],
)
def test_a_page_that_was_not_refreshed_for_two_minutes_shows_no_standing(
    tmp_path: Path, seconds_ago: int, told: str
) -> None:
    found = of(twelve())
    for page in (found[MAIN], found["index.html"]):
        after = shown(tmp_path, refreshed(page, seconds_ago), WALL)
        read = Reader(after)
        assert told in read.text
        assert {line[2] for line in read.lines()} <= {"?"}
        inside = Reader(after.split("</header>")[1].split("<footer>")[0] + "</main>")
        assert not WORDS.search(inside.text.replace(told, ""))
        assert "Theatre 9" in inside.text or "Day surgery" in inside.text
        assert "owes" not in inside.text


def test_a_page_in_its_second_minute_still_shows_its_standings(tmp_path: Path) -> None:
    after = shown(tmp_path, refreshed(of(twelve())[MAIN], 90), WALL)
    assert "! not cleared" in {line[2] for line in Reader(after).lines()}


def test_a_standing_that_ended_since_the_refresh_is_unknown(tmp_path: Path) -> None:
    page = refreshed(of(twelve())[MAIN])
    page = re.sub(r'data-until="[^"]*"', 'data-until="2026-01-01T00:00:00Z"', page, count=1)
    lines = [*Reader(shown(tmp_path, page, WALL)).lines()]
    assert lines[0] == ("Theatre 1", "AM-01", "? unknown", "", "")
    assert lines[1][2] == ". cleared"


def test_a_computer_that_wakes_shows_no_standing_from_before_its_sleep(tmp_path: Path) -> None:
    """Its clock is ten minutes on, and the first that a page hears is that it is in sight."""
    script = """<script>
    window.addEventListener("load", function () {
      var before = Date.prototype.getTime, root = document.documentElement;
      window.dispatchEvent(new Event("pagehide"));
      root.setAttribute("data-asleep", root.className);
      Date.prototype.getTime = function () { return before.call(this) + 600000; };
      document.dispatchEvent(new Event("visibilitychange"));
    });
    </script></head>"""
    page = refreshed(of(twelve())[MAIN])
    page = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", page)
    read = Reader(shown(tmp_path, page.replace("</head>", script), WALL))
    assert read.elements[0][1]["data-asleep"] == "wait"
    assert {line[2] for line in read.lines()} == {"?"}
    assert "not refreshed since 06:50:00" in read.text
