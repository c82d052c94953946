"""The pages of the board: what stands on them, by what names, and how long they hold.

The figures of contrast are computed as W3C defines them ("Web Content Accessibility Guidelines
2.2", relative luminance and contrast ratio; 1.4.3 asks for 4.5 to 1). The rest is our own.
"""

from __future__ import annotations

import colorsys
import re
from base64 import b64encode
from hashlib import sha256

import pytest

from checkwatch.answers.board import Board, board
from checkwatch.core import entry as e
from checkwatch.core.instant import HOUR, Instant, iso
from checkwatch.core.states import Standing
from checkwatch.views import document
from checkwatch.views.page import Page, dead, pages
from checkwatch.views.page_look import _STYLE
from checkwatch.views.words import LOOKS, Here
from tests.board.fleet import RULES, many, twelve, with_places
from tests.board.test_board_screen import expect
from tests.build import ZONE, ask, book, check, did, enrolled, passed, rules, t, wrote
from tests.views.page_reader import Reader

MAIN, DAY_SURGERY = "area-main-theatres.html", "area-day-surgery.html"


def made(given: Board, title: str = "Saltmere theatres", banner: str = "") -> dict[str, Page]:
    return pages(given, Here(ZONE, given.question.now), title, banner)


def html(given: Board, name: str = MAIN) -> str:
    return made(given)[name].render(given.question.now)


def bare(page: str) -> str:
    """A page without its style, its script and their digests."""
    return re.sub("(?s)<style>.*</script>\n|<meta http-equiv=.Content.*?>\n", "", page)


@pytest.mark.parametrize("name", ["index.html", MAIN, DAY_SURGERY])
def test_a_page_for_each_area_and_one_that_leads_to_them(name: str) -> None:
    given = twelve()
    assert [*made(given)] == ["index.html", MAIN, DAY_SURGERY]
    expect(f"page-{name.removesuffix('.html')}", bare(html(given, name)))


def test_each_machine_stands_on_its_area_s_page_as_json_says_it_does() -> None:
    given = twelve()
    area_of = {row.place.place: row.place.area for row in given.rows if row.place}
    for page in [*made(given).values()][1:]:
        lines = [*Reader(page.render(given.question.now)).lines()]
        machines = [m for _, tags, *_ in lines for m in tags.split() if tags != "place"]
        told = [
            one for one in document.board(given)["machines"] if area_of[one["place"]] == page.area
        ]
        assert sorted(machines) == sorted(one["machine"] for one in told)
        for one in told:
            place, tags, stands, until, said = next(
                line for line in lines if one["machine"] in line[1].split()
            )
            look = LOOKS[Standing(one["standing"])]
            assert (place, stands) == (one["place"], f"{look.mark} {look.word}")
            beside = [m["until"] or "" for m in told if m["machine"] in tags.split()]
            assert until == min(beside)
            assert all(limit in said for limit in one["limits"])


def test_places_keep_their_order_and_a_place_that_says_more_has_its_own_line() -> None:
    lines = [*Reader(html(twelve())).lines()]
    places = [*dict.fromkeys(line[0] for line in lines)]
    assert places == [*(f"Theatre {n}" for n in range(1, 7)), "Theatre 9", "Store"]
    lacking = next(line for line in lines if line[0] == "Theatre 9")
    assert lacking[1:3] == ("place", "! not cleared")
    assert lacking[4] == "lacks 1 anaesthetic machine"


def test_machines_of_a_place_of_which_the_same_is_said_share_a_line_with_the_earliest_end() -> None:
    entries = (
        *(enrolled(f"AM-0{n}") for n in (1, 2, 3)),
        passed("AM-01", "self-test", "06:40"),
        passed("AM-02", "self-test", "06:20"),
    )
    given = board(with_places(book(RULES, *entries), [("Theatre 4", "theatre", "A")]), ask())
    lines = [line[1:5] for line in Reader(html(given, "area-a.html")).lines()]
    end = iso(t("2026-03-13T06:20"))
    assert ("AM-01 AM-02", ". cleared", end, "until Fri 13 Mar 06:20 GMT") in lines
    assert ("AM-03", "! not cleared", "", "owes full self-test, leak test") in lines


def test_a_check_that_failed_is_called_so() -> None:
    entries = (enrolled("AM-01"), did("AM-01", "self-test", e.Outcome.FAIL, "06:40"))
    given = board(with_places(book(RULES, *entries), [("Theatre 4", "theatre", "A")]), ask())
    assert "owes full self-test (failed), leak test (failed)" in html(given, "area-a.html")


def test_a_place_without_any_machine_is_on_the_page_too() -> None:
    given = board(with_places(book(RULES, enrolled("AM-01")), [("Store", "store", "A")]), ask())
    (line, *_) = Reader(html(given, "area-a.html")).lines()
    assert line == ("Store", "", "", "", "no machine is here")


def test_more_tasks_than_the_top_has_room_for_stand_below_all_places() -> None:
    given = many(50)
    page = html(given, "area-floor-0.html")
    top, places, below = re.split('<section class="parts"|<section class="fades" id="more">', page)
    assert [top.count('<td class="minutes">6 min'), below.count('<td class="minutes">')] == [8, 2]
    assert "and 2 more; 10 to do in all" in top
    assert "Theatre 45" in places


def test_no_time_on_a_page_is_told_as_from_now() -> None:
    """It would be wrong a minute later, and the page is refreshed by its time alone."""
    for page in made(twelve()).values():
        assert not re.search(r"\bago\b|\bin \d+ (min|h|d)\b", bare(page.render(t("06:50"))))


def test_two_refreshes_differ_in_the_time_alone() -> None:
    page = made(twelve())[MAIN]
    first, second = (page.render(t(at)) for at in ("06:50", "06:50:15"))
    assert "as of <b>06:50:15 GMT</b>, Thu 12 Mar</time>" in second
    assert "does not count after 06:52:15" in second
    moved = second.replace("06:50:15", "06:50:00").replace("06:52:15", "06:52:00")
    assert moved == first


# How long a page holds


def until(given: Board) -> Instant:
    (end,) = {page.until for page in made(given).values()}
    return end


def test_a_page_does_not_outlast_a_standing() -> None:
    """AM-08 of Theatre 8 stands until 06:48 tomorrow, AM-07 until 06:45 today."""
    assert until(twelve("06:40")) == t("06:45")
    page = made(twelve("06:40"))[MAIN]
    assert page.holds(Instant(t("06:45") - 1))
    for late in (t("06:45"), Instant(t("06:40") - HOUR)):
        with pytest.raises(ValueError, match="does not hold"):
            page.render(late)


def advised(at: str) -> Board:
    """AM-01 is cleared until tomorrow; an advisory check of it ends by itself at 07:00."""
    rulebook = rules(check("self-test", "PT24H"), check("look", "PT1H", gate=False))
    entries = (
        enrolled("AM-01"),
        passed("AM-01", "self-test", "06:40"),
        passed("AM-01", "look", "06:00"),
    )
    return board(book(rulebook, *entries), ask(at, at))


def test_a_page_does_not_outlast_what_is_owed_though_the_machine_stands_as_before() -> None:
    assert until(advised("06:50")) == t("07:00")
    before, after = (html(advised(at), "area-no-area.html") for at in ("06:59", "07:00"))
    assert ["owes look" in page for page in (before, after)] == [False, True]


def test_a_page_does_not_outlast_the_time_at_which_work_begins() -> None:
    """The day theatres work from 07:30, and three hours before that they are on the list."""
    for at, end in (("04:20", "04:31"), ("07:20", "07:30"), ("17:50", "18:00")):
        assert until(twelve(at)) == t(end)
    listed = ["before work begins" in html(twelve(at), DAY_SURGERY) for at in ("04:30", "04:31")]
    assert listed == [False, True]


def test_a_page_holds_on_the_night_of_25_hours() -> None:
    """On Sunday 25 October 2026 the clocks go back (Directive 2000/84/EC, article 3): 24 hours
    after its first hour it is the same day still."""
    at = "2026-10-25T00:10"
    unread = dead({}, "why", t(at), Here(ZONE, t(at)), "S", "")["index.html"]
    assert unread.until == t("2026-10-26T00:00")
    assert all(one.holds(t(at)) for one in made(twelve(at)).values())


def test_a_page_holds_a_quarter_of_an_hour_at_most_and_never_over_midnight() -> None:
    assert until(twelve("12:00")) == t("12:15")
    midnight = t("2026-03-13T00:00")
    assert until(twelve("23:55")) == midnight
    assert until(twelve("23:55", doubts=("why",))) == midnight
    unread = dead({}, "why", t("22:00"), Here(ZONE, t("23:55")), "S", "")["index.html"]
    assert unread.until == midnight


# Names


def names(*areas: str) -> list[str]:
    places = [(f"Theatre {n}", "theatre", area) for n, area in enumerate(areas)]
    found = made(board(with_places(book(RULES), places), ask()))
    assert [page.area for page in found.values()][1:] == [*areas]
    return [*found][1:]


def test_a_file_is_named_after_its_area_alone() -> None:
    assert names("Main theatres", "Süd 2/b") == ["area-main-theatres.html", "area-sud-2-b.html"]
    assert names("Süd 2/b", "East") == ["area-sud-2-b.html", "area-east.html"]


def test_areas_whose_names_come_to_the_same_have_files_of_their_own() -> None:
    found = names("Main", "MAIN", "main!", "", "No area", "index", "../x", "東", "西", "x" * 90)
    assert len({name.casefold() for name in found}) == 10
    for name in found:
        assert re.fullmatch(r"area-[a-z0-9]([a-z0-9.-]*[a-z0-9])?\.html", name)
        assert len(name) < 90


# A book that nobody believes or can read


def test_of_a_book_that_is_not_believed_every_standing_is_unknown() -> None:
    given = twelve(doubts=("the clock is behind",))
    found = pages(given, Here(ZONE, t("06:50")), "Saltmere", "", t("06:41"))
    for page in [*found.values()][1:]:
        read = Reader(page.render(t("06:50")))
        told = "not believed since 06:41 GMT, so every standing is unknown: the clock is behind"
        assert told in read.text
        assert "to do now: nobody can tell" in read.text
        assert {line[2] for line in read.lines()} == {"? unknown"}
    index = Reader(found["index.html"].render(t("06:50"))).text
    assert "Main theatres 8 places: 8 unknown 9 machines: 9 unknown nobody can tell" in index


def test_of_a_book_that_cannot_be_read_there_is_no_standing_but_why_and_since_when() -> None:
    found = dead({MAIN: "Main theatres"}, "<full>", t("06:41"), Here(ZONE, t("06:50")), "S", "")
    assert [*found] == ["index.html", MAIN]
    page = found[MAIN].render(t("09:00"))
    read = Reader(page)
    assert "The book has not been readable since 06:41 GMT: standings are not known." in read.text
    assert "<full>" in read.text
    assert "as of 09:00:00 GMT" in read.text
    assert not read.rows
    never = dead({}, "why", None, Here(ZONE, t("06:50")), "S", "")["index.html"]
    assert "The book cannot be read: standings are not known." in never.render(t("06:50"))


# What people wrote, and what a page may do


HOSTILE = '<script>alert("1")</script>&amp;\x1b[31m\u202e'


def test_what_people_wrote_is_text_of_a_page_and_nothing_else() -> None:
    entries = (
        enrolled(HOSTILE, HOSTILE),
        did(HOSTILE, "self-test", e.Outcome.LIMITED, "06:30", limits=(HOSTILE,)),
        enrolled("AM-2", HOSTILE),
        wrote(e.Withdrawn, "AM-2", "06:00", note=HOSTILE),
        enrolled("AM-3", HOSTILE),
        wrote(e.Fault, "AM-3", "06:20", severity=e.Severity.STOP_USE, note=HOSTILE),
    )
    given = board(with_places(book(RULES, *entries), [(HOSTILE, "theatre", HOSTILE)]), ask())
    found = made(given, HOSTILE, HOSTILE)
    found |= {
        f"dead {n}": p for n, p in dead({}, HOSTILE, None, Here(ZONE, t("06:50")), "", "").items()
    }
    for page in found.values():
        whole = page.render(max(page.start, t("15:20")))
        read = Reader(whole)
        assert [tag for tag, _ in read.elements].count("script") == 1
        assert not {"img", "iframe", "link", "object"} & {tag for tag, _ in read.elements}
        assert '<script>alert("1")</script>&amp;' in read.text
        assert not re.search("[\x1b\u202e]", whole)
    assert all(not re.search(r'[<>"&/]', name) for name in found)


def test_a_page_asks_for_nothing_from_outside_and_runs_its_own_script_alone() -> None:
    for page in made(twelve()).values():
        whole = page.render(t("06:50"))
        read = Reader(whole)
        (policy,) = (
            given["content"]
            for _, given in read.elements
            if "http-equiv" in given and given["http-equiv"] == "Content-Security-Policy"
        )
        assert policy.startswith("default-src 'none'; ")
        assert "unsafe" not in policy
        for kind in ("style", "script"):
            inline = whole.split(f"<{kind}>")[1].split(f"</{kind}>")[0]
            digest = b64encode(sha256(inline.encode()).digest()).decode()
            assert f"{kind}-src 'sha256-{digest}'" in policy
        assert "url(" not in whole
        assert "//" not in bare(whole)
        links = [given["href"] for _, given in read.elements if "href" in given]
        assert {*links} <= {*made(twelve()), "#more"}
        assert not [given for _, given in read.elements if "style" in given or "src" in given]


def test_a_page_is_read_by_people_and_by_machines_that_speak() -> None:
    whole = html(twelve())
    elements = Reader(whole).elements
    assert ("html", {"lang": "en"}) in elements
    assert ("meta", {"http-equiv": "refresh", "content": "20"}) in elements
    assert [tag for tag, _ in elements].count("h1") == 1
    assert "proof that a machine is safe" in whole
    assert "In an emergency the clinician decides" in whole


def test_an_invented_book_says_so_on_every_page() -> None:
    for page in made(twelve(), "EXAMPLE, Suite", "EXAMPLE: invented").values():
        assert "EXAMPLE: invented" in Reader(page.render(t("06:50"))).text


# Colours


def colours() -> list[dict[str, str]]:
    """The colours by light and by dark."""
    blocks = re.findall(r":root \{(.*?)\}", _STYLE, re.S)
    return [dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", block)) for block in blocks]


def luminance(colour: str) -> float:
    parts = (int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5))
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return sum(share * part for share, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_the_contrast_is_computed_as_w3c_does() -> None:
    assert contrast("#000000", "#ffffff") == 21
    assert round(contrast("#777777", "#ffffff"), 2) == 4.48


@pytest.mark.parametrize("given", colours(), ids=["light", "dark"])
def test_every_text_is_read_easily_by_light_and_by_dark(given: dict[str, str]) -> None:
    for name in ("ink", "quiet", "limited", "exception"):
        assert contrast(given[name], given["paper"]) >= 4.5, name
    assert contrast(given["on-stop"], given["stop"]) >= 4.5
    # A chip must be seen against the page, too: 3 to 1 for what is no text (1.4.11).
    assert contrast(given["stop"], given["paper"]) >= 3


def hue(colour: str) -> float:
    return colorsys.rgb_to_hsv(*(int(colour[n : n + 2], 16) / 255 for n in (1, 3, 5)))[0] * 360


@pytest.mark.parametrize("given", colours(), ids=["light", "dark"])
def test_the_hues_are_those_of_the_board(given: dict[str, str]) -> None:
    for name, standing in (
        ("limited", Standing.LIMITED),
        ("exception", Standing.BY_EXCEPTION),
        ("stop", Standing.NOT_CLEARED),
    ):
        assert abs(hue(given[name]) - hue(LOOKS[standing].style[-7:])) < 8


def test_cleared_has_no_colour_at_all() -> None:
    assert ".cleared" not in _STYLE
