"""After a write the places are told whose standing it changed, and no others.

AM-01 stands in Theatre 1, to which the anaesthetic room belongs with AM-05; AM-02 and AM-03 stand
in Theatre 2. Every room needs one machine with a self-test of the last 24 hours.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.conftest import RULES
from tests.cli.line import run
from tests.cli.test_exit_codes import alter

FLEET = """\
tag,kind,model,serial,place,place_kind,commissioned
AM-01,anaesthetic-machine,type A,1,Theatre 1,theatre,2024-01-01
AM-02,anaesthetic-machine,type A,2,Theatre 2,theatre,2024-01-01
AM-03,anaesthetic-machine,type A,3,Theatre 2,theatre,2024-01-01
AM-05,anaesthetic-machine,type A,5,Room 1,theatre,2024-01-01
"""

PLACES = """\
place,place_kind,area,order,with
Theatre 1,theatre,North,1,Room 1
Theatre 2,theatre,North,2,
Room 1,theatre,South,3,
"""


class Suite:
    """The book at ten past seven; AM-01, AM-02 and AM-05 were tested at seven."""

    def __init__(self, folder: Path) -> None:
        self.book = folder / "book.db"
        for name, text in (("rules.toml", RULES), ("fleet.csv", FLEET), ("places.csv", PLACES)):
            (folder / name).write_text(text)
        options = [("--rules", "rules.toml"), ("--fleet", "fleet.csv"), ("--places", "places.csv")]
        self.says("begin", *(str(word) for o, name in options for word in (o, folder / name)))
        for tag in ("AM-01", "AM-02", "AM-05"):
            self.says("done", tag, "self-test", "pass", "--by", "kd", "--at", "07:00")

    def says(self, *words: str) -> list[str]:
        """What a command says, each paragraph that names a place first on one line."""
        with freeze_time("2040-01-15T07:10:00Z"):
            said = run("--db", self.book, *words)
        assert said.code == 0, said
        starts = ("Theatre 1 ", "Theatre 2 ", "Room 1 ")
        lines = said.out.splitlines()
        firsts = [number for number, line in enumerate(lines) if line.startswith(starts)]
        return [" ".join(_paragraph(lines[number:])) for number in firsts]


def _paragraph(lines: list[str]) -> list[str]:
    """The lines up to the one that ends a sentence."""
    for number, line in enumerate(lines, 1):
        if line.endswith("."):
            return lines[:number]
    return lines


@pytest.fixture
def suite(tmp_path: Path) -> Suite:
    return Suite(tmp_path)


IS = [([], "is now"), (["--what-if"], "would be")]


@pytest.mark.parametrize(("options", "verb"), IS)
def test_what_ends_a_room_ends_the_theatre_to_which_it_belongs(
    suite: Suite, options: list[str], verb: str
) -> None:
    assert suite.says("happened", "AM-05", "power-on", *options) == [
        f"Theatre 1 and Room 1: each {verb} not cleared.",
    ]


@pytest.mark.parametrize(("options", "verb"), IS)
def test_a_place_that_is_cleared_again_says_until_when(
    suite: Suite, options: list[str], verb: str
) -> None:
    suite.says("happened", "AM-05", "power-on")
    until = "until Mon 16 Jan 07:10 GMT, in 24 h."
    assert suite.says("done", "AM-05", "self-test", "pass", "--by", "kd", *options) == [
        f"Theatre 1 (AM-01, AM-05) {verb} cleared until Mon 16 Jan 07:00 GMT, in 23 h.",
        f"Room 1 (AM-05) {verb} cleared {until}",
    ]


def test_a_limit_reaches_the_place(suite: Suite) -> None:
    (said,) = suite.says("fault", "AM-01", "limit", "--note", "dim lamp", "--by", "kd")
    tail = "(cleared, with 1 limit in force): AM-01: dim lamp."
    assert said == (
        f"Theatre 1 (AM-01, AM-05) is now limited until Mon 16 Jan 07:00 GMT, in 23 h {tail}"
    )


def test_where_a_place_stands_as_before_nothing_is_said_of_it(suite: Suite) -> None:
    assert suite.says("note", "AM-01", "words") == []
    assert suite.says("happened", "AM-03", "power-on") == []
    assert suite.says("done", "AM-01", "self-test", "pass", "--by", "kd") == []


def test_why_is_said_of_a_machine_about_which_nothing_was_written(suite: Suite) -> None:
    said = suite.says("move", "AM-02", "Room 1")
    assert "Theatre 2 (AM-03) is now not cleared: its full self-test was never done." in said


def test_a_move_tells_what_is_lacking_where_the_machine_stood(suite: Suite) -> None:
    for words in (["--what-if"], []):
        verb = "would be" if words else "is now"
        told = suite.says("move", "AM-05", "Theatre 2", *words)
        assert (
            told[0] == f"Theatre 1 (AM-01) {verb} not cleared: Room 1 lacks 1 anaesthetic machine."
        )
        assert told[-1] == f"Room 1 {verb} not cleared: it lacks 1 anaesthetic machine."


def test_of_several_machines_the_places_are_told_once_after_the_list(suite: Suite) -> None:
    told = ["Theatre 1 and Theatre 2: each is now not cleared."]
    assert suite.says("happened", "power-on", "--area", "North", "--yes") == told


def test_as_json_each_machine_has_the_places_that_it_concerns(suite: Suite) -> None:
    with freeze_time("2040-01-15T07:10:00Z"):
        words = ["withdraw", "--kind", "anaesthetic-machine", "--yes", "--json"]
        documents = run("--db", suite.book, *words).document
    theatre = {"place": "Theatre 1", "before": "cleared", "standing": "not-cleared"}
    theatre |= {"until": None, "limits": []}
    found = {one["machine"]: one["places"] for one in documents}
    assert found["AM-01"] == [theatre]
    assert found["AM-05"] == [theatre, theatre | {"place": "Room 1"}]
    assert [one["place"] for one in found["AM-03"]] == ["Theatre 2"]


def test_a_place_with_an_altered_entry_has_no_standing_that_could_change(suite: Suite) -> None:
    suite.says("note", "AM-02", "so that the newest entry of the book is another one")
    # That AM-05 passed.
    alter(str(suite.book), "UPDATE entry SET note = 'x' WHERE seq = 11")
    assert suite.says("withdraw", "AM-01") == []
    (said,) = suite.says("withdraw", "AM-02")
    assert said.startswith("Theatre 2 (AM-03) is now not cleared")
