"""Which rules judge at an instant, which take over later, where a change of standing leads, and
what would last less long or longer."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from checkwatch.answers.adoption import Adoption, Change, Course, Direction, adoption, course
from checkwatch.core.entry import Adopted
from checkwatch.core.instant import Instant
from checkwatch.core.place import PlaceStanding
from checkwatch.core.rulebook import Check, UntilNext
from checkwatch.core.states import Standing
from checkwatch.core.versions import Version, Versions
from checkwatch.views import adoption as view
from checkwatch.views.report import plain
from checkwatch.views.words import Here
from tests.build import KIND, ZONE, ask, book, check, enrolled, passed, rules, t

#: The number of an adoption, when it was written and from when it judges.
Line = tuple[int, str, str]


def planned(*lines: Line, at: str) -> Course:
    """What judges at a time; each version has its number for a title."""
    adoptions = [
        Adopted(seq=seq, machine="", at=t(start), recorded=t(recorded), text=f"text {seq}")
        for seq, recorded, start in lines
    ]
    versions = [
        Version(entry.at, entry.seq, entry.recorded, replace(rules(), title=f"{entry.seq}"))
        for entry in adoptions
    ]
    return course(Versions.of(*versions), adoptions, t(at))


def numbers(found: Course) -> tuple[int, list[int]]:
    return found.in_force.entry.seq, [one.entry.seq for one in found.to_come]


FIRST = (1, "08:00", "08:00")

HERE = Here(ZONE, t("15:20"))


@pytest.mark.parametrize(
    ("lines", "at", "judges", "to_come"),
    [
        ([], "09:00", 1, []),
        ([(7, "09:00", "12:00")], "11:59", 1, [7]),
        ([(7, "09:00", "12:00")], "12:00", 7, []),
        # Adopting others now takes nothing back: what is to come still comes.
        ([(7, "09:00", "12:00"), (8, "10:00", "10:00")], "10:00", 8, [7]),
        ([(7, "09:00", "14:00"), (8, "10:00", "12:00")], "10:00", 1, [8, 7]),
        # From the same instant the one that was adopted later judges, and only that.
        ([(7, "09:00", "12:00"), (8, "10:00", "12:00")], "11:00", 1, [8]),
        ([(7, "09:00", "12:00"), (8, "10:00", "12:00")], "12:00", 8, []),
        ([(8, "09:00", "09:00")], "07:00", 1, [8]),
    ],
)
def test_of_several_adoptions_the_last_from_its_instant_on_judges(
    lines: list[Line], at: str, judges: int, to_come: list[int]
) -> None:
    assert numbers(planned(FIRST, *lines, at=at)) == (judges, to_come)
    assert numbers(planned(*reversed(lines), FIRST, at=at)) == (judges, to_come)


@pytest.mark.parametrize(
    ("before", "after", "direction"),
    [
        (Standing.NOT_CLEARED, Standing.CLEARED, Direction.TOWARDS),
        (Standing.UNKNOWN, Standing.LIMITED, Direction.TOWARDS),
        (Standing.LIMITED, Standing.CLEARED, Direction.TOWARDS),
        (Standing.NOT_CLEARED, Standing.BY_EXCEPTION, Direction.TOWARDS),
        (Standing.BY_EXCEPTION, Standing.LIMITED, Direction.TOWARDS),
        (Standing.CLEARED, Standing.LIMITED, Direction.AWAY),
        (Standing.BY_EXCEPTION, Standing.NOT_CLEARED, Direction.AWAY),
        (Standing.CLEARED, Standing.UNKNOWN, Direction.AWAY),
        # It may be used neither before nor after.
        (Standing.UNKNOWN, Standing.NOT_CLEARED, Direction.NEITHER),
        (Standing.NOT_CLEARED, Standing.UNKNOWN, Direction.NEITHER),
        (Standing.UNKNOWN, Standing.WITHDRAWN, Direction.NEITHER),
    ],
)
def test_only_what_may_be_used_more_freely_than_before_leads_towards_use(
    before: Standing, after: Standing, direction: Direction
) -> None:
    change = Change(PlaceStanding("Theatre 1", before), PlaceStanding("Theatre 1", after))
    assert change.direction is direction


def test_an_instant_before_the_first_adoption_is_judged_by_it_and_it_is_not_to_come() -> None:
    assert numbers(planned(FIRST, at="07:00")) == (1, [])


def adopted(*checks: Check, doubts: tuple[str, ...] = ()) -> Adoption:
    """What other checks would change at 15:20, where AM-04 and AM-05 are cleared by a self-test and
    a leak test of 24 hours each, AM-04's of 07:00 and AM-05's of 09:00."""
    given = book(
        rules(check("self-test", "PT24H"), check("leak-test", "PT24H")),
        enrolled("AM-04"),
        enrolled("AM-05"),
        passed("AM-04", "self-test", "07:00"),
        passed("AM-04", "leak-test", "07:00"),
        passed("AM-05", "self-test", "09:00"),
        passed("AM-05", "leak-test", "09:00"),
        doubts=doubts,
    )
    return adoption(given, ask(), rules(*checks), t("15:20"))


def ends(found: Adoption) -> list[tuple[str, bool, Instant, Instant]]:
    return [(one.machine.machine, one.earlier, one.before, one.after) for one in found.shifts]


def moved(found: Adoption) -> list[tuple[str, str, int, int]]:
    return [(one.check.code, one.kind, one.earlier, one.later) for one in found.passes]


SEVEN, NINE = t("2026-03-13T07:00"), t("2026-03-13T09:00")


def test_shorter_rules_end_the_standings_that_they_leave_earlier() -> None:
    found = adopted(check("self-test", "PT24H"), check("leak-test", "PT9H"))
    assert found.changes == ()
    assert ends(found) == [("AM-04", True, SEVEN, t("16:00")), ("AM-05", True, NINE, t("18:00"))]
    assert moved(found) == [("leak-test", KIND, 2, 0)]


def test_longer_rules_end_them_later() -> None:
    found = adopted(check("self-test", "PT26H"), check("leak-test", "PT25H"))
    assert ends(found) == [
        ("AM-04", False, SEVEN, t("2026-03-13T08:00")),
        ("AM-05", False, NINE, t("2026-03-13T10:00")),
    ]
    assert moved(found) == [("leak-test", KIND, 0, 2), ("self-test", KIND, 0, 2)]


def test_a_longer_check_beside_one_that_ends_the_standing_before_moves_passes_alone() -> None:
    found = adopted(check("self-test", "P7D"), check("leak-test", "PT24H"))
    assert (ends(found), moved(found)) == ([], [("self-test", KIND, 0, 2)])
    text = plain(view.adoption(found, HERE))
    assert "No machine would change its standing." in text
    assert "Look twice at what lasts longer: there the new rules ask for less." in text


def test_a_machine_whose_standing_changes_is_not_among_those_that_keep_it() -> None:
    found = adopted(check("self-test", "PT24H"), check("leak-test", "PT8H"))
    assert [one.after.machine for one in found.changes] == ["AM-04"]
    assert ends(found) == [("AM-05", True, NINE, t("17:00"))]
    assert moved(found) == [("leak-test", KIND, 1, 0)]


def test_what_would_end_earlier_is_named_first() -> None:
    # Not before tomorrow: else AM-04's pass of seven would be over at eight.
    until = UntilNext("FREQ=DAILY", datetime(2026, 3, 13, 8))
    found = adopted(check("self-test", validity=(until,)), check("leak-test", "PT25H"))
    eight = t("2026-03-13T08:00")
    assert ends(found) == [("AM-05", True, NINE, eight), ("AM-04", False, SEVEN, eight)]
    assert moved(found) == [("self-test", KIND, 1, 1), ("leak-test", KIND, 0, 2)]


def test_the_same_rules_change_nothing() -> None:
    found = adopted(check("self-test", "PT24H"), check("leak-test", "PT24H"))
    assert (found.changes, found.shifts, found.passes) == ((), (), ())


def test_the_words() -> None:
    shorter = adopted(check("self-test", "PT24H"), check("leak-test", "PT9H"))
    assert plain(view.adoption(shorter, HERE)).splitlines() == [
        "In force from 15:20 GMT, now.",
        "No machine would change its standing.",
        "No place would change its standing.",
        "2 machines would stand as before, but until another time: 2 earlier.",
        "",
        "passes of  by machines of kind  end earlier  end later",
        "leak test  anaesthetic machine  2",
        "",
        "machine  standing   until so far          by the new rules  that is",
        "AM-04    . cleared  Fri 13 Mar 07:00 GMT  16:00 GMT         earlier",
        "AM-05    . cleared  Fri 13 Mar 09:00 GMT  18:00 GMT         earlier",
    ]


def test_a_book_that_is_not_believed_has_no_ends() -> None:
    found = adopted(check("self-test", "PT9H"), check("leak-test", "PT9H"), doubts=("altered",))
    assert found.shifts == ()
