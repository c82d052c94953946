"""Who may write what: roles, training and codes, decided when an entry is written."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from checkwatch.answers import people as may_write
from checkwatch.answers.people import flag_of, meaning_of, mistakes_of, nobody
from checkwatch.core import entry as e
from checkwatch.core.person import People, Person, Training
from checkwatch.core.rulebook import Doubted, Role
from checkwatch.rules import people as words
from tests.build import KIND, check, did, happened, passed, rules, wrote

EB = Person(code="EB", roles=("engineer",))
KD = Person(code="kd", trained=(Training(KIND, date(2026, 3, 12)),))
ROOM = Person(code="theatre-4", is_shared=True)
PEOPLE = People([EB, KD, ROOM])

FAN = check("fan", gate=False)
RULES = replace(
    rules(check("self-test", gate=False, covers=("leak-test",)), check("leak-test"), FAN),
    roles={"engineer": Role("engineer", "Biomedical engineer", ("returned", "restore", "fan"))},
    signatures={"returned": "I release it for use"},
)


def why(entry: e.Entry, **rule: Doubted) -> str:
    """What forbids somebody to write an entry, empty for nothing."""
    judged = replace(RULES, **rule)
    return " | ".join(map(str, mistakes_of(entry, judged, KIND, PEOPLE, "AM-04")))


def returned(by: str) -> e.Entry:
    return wrote(e.Returned, "AM-04", "09:00", by=by)


def test_what_a_role_may_is_written_by_people_with_that_role_only() -> None:
    may = "AM-04: this is for the role engineer (Biomedical engineer), and"
    instead = "; let EB write it"
    assert why(returned("EB")) == why(returned("eb ")) == ""
    assert why(returned("kd")) == f"{may} 'kd' has no such role{instead}"
    assert why(returned("zz")) == f"{may} 'zz' is nobody whom the book knows{instead}"
    assert why(returned("")) == f"{may} who writes it is not said{instead}"


def test_where_nobody_has_the_role_it_is_told_how_to_give_it() -> None:
    (problem,) = mistakes_of(returned("kd"), RULES, KIND, People([KD]), "AM-04")
    assert problem.remedy.endswith("add it in the people file, then `checkwatch people FILE`")


def test_only_a_striking_that_restores_asks_for_a_role() -> None:
    plain = wrote(e.Struck, "AM-04", "09:00", of=3, by="kd")
    restores = wrote(e.Struck, "AM-04", "09:00", of=3, by="kd", restores=True, note="never was")
    assert (why(plain), why(restores) != "") == ("", True)


@pytest.mark.parametrize("outcome", e.Outcome)
def test_of_a_check_that_is_for_a_role_what_clears_nothing_is_written_by_everybody(
    outcome: e.Outcome,
) -> None:
    more: dict[str, Any] = {"limits": ("slow",)} if outcome is e.Outcome.LIMITED else {}
    result = did("AM-04", "fan", outcome, "09:00", by="kd", **more)
    assert (why(result) != "") == (outcome in (e.Outcome.PASS, e.Outcome.LIMITED))


@pytest.mark.parametrize(
    "entry",
    [
        wrote(e.EmergencyUse, "AM-04", "09:00", until=10**18, note="bleed", decided="kd", by="zz"),
        wrote(e.Fault, "AM-04", "09:00", severity=e.Severity.LIMIT, note="dim", by="zz"),
        wrote(e.Withdrawn, "AM-04", "09:00", by="zz"),
        wrote(e.CaseStart, "AM-04", "09:00"),
        wrote(e.Note, "AM-04", "09:00"),
        happened("AM-04", "power-on", "09:00"),
    ],
    ids=lambda entry: entry.what,
)
def test_nobody_is_kept_from_what_clears_nothing(entry: e.Entry) -> None:
    """Whatever the rules say: rulebooks with such words are refused, and one that came in all the
    same keeps nobody from writing."""
    chief = Role("chief", "Chief", (*e.RESERVED, "power-on"))
    judged = replace(RULES, roles={"chief": chief}, signatures={entry.what: "I saw it"})
    assert mistakes_of(entry, judged, KIND, PEOPLE, "") == ()
    assert meaning_of(entry, judged) == ""


@pytest.mark.parametrize(
    ("by", "at", "flag"),
    [
        ("kd", "23:59", None),
        ("KD", "23:59", None),
        ("kd", "2026-03-13T00:00", e.Flag.UNTRAINED),
        ("EB", "09:00", e.Flag.UNTRAINED),
        ("zz", "09:00", e.Flag.UNKNOWN),
        ("", "09:00", e.Flag.UNKNOWN),
        ("theatre-4", "09:00", e.Flag.UNKNOWN),
    ],
)
def test_training_is_judged_at_the_time_of_the_result_through_its_last_day(
    by: str, at: str, flag: e.Flag | None
) -> None:
    judged = replace(RULES, untrained="stopped", unknown_person="flagged")
    assert flag_of(passed("AM-04", "leak-test", at, by=by), judged, KIND, PEOPLE) is flag


def test_at_the_end_of_the_calendar_only_training_without_an_end_holds() -> None:
    """Its last hours are of the year 10000 in Tokyo."""
    judged = replace(RULES, untrained="stopped", zone=ZoneInfo("Asia/Tokyo"))
    result = passed("AM-04", "leak-test", "9999-12-31T23:30", by="kd")
    lasting = People([Person(code="kd", trained=(Training(KIND),))])
    assert flag_of(result, judged, KIND, PEOPLE) is e.Flag.UNTRAINED
    assert flag_of(result, judged, KIND, lasting) is None


def test_training_is_for_a_kind_of_machine() -> None:
    judged = replace(RULES, untrained="flagged")
    result = passed("AM-04", "leak-test", "09:00", by="kd")
    assert flag_of(result, judged, "ventilator", PEOPLE) is e.Flag.UNTRAINED


@pytest.mark.parametrize(
    ("code", "flag"), [("leak-test", e.Flag.UNKNOWN), ("self-test", e.Flag.UNKNOWN), ("fan", None)]
)
def test_a_result_is_flagged_where_it_counts_for_a_gate(code: str, flag: e.Flag | None) -> None:
    judged = replace(RULES, unknown_person="stopped")
    assert flag_of(passed("AM-04", code, "09:00", by="zz"), judged, KIND, PEOPLE) is flag


def test_rules_that_let_everybody_count_flag_nobody() -> None:
    for by in ("zz", "EB", ""):
        assert flag_of(passed("AM-04", "leak-test", "09:00", by=by), RULES, KIND, PEOPLE) is None


@pytest.mark.parametrize(
    ("untrained", "unknown", "brought", "kept"),
    [
        ("counts", "counts", e.Flag.UNTRAINED, e.Flag.UNTRAINED),
        ("stopped", "flagged", e.Flag.UNTRAINED, e.Flag.UNTRAINED),
        ("flagged", "stopped", e.Flag.UNTRAINED, e.Flag.UNKNOWN),
        ("flagged", "counts", e.Flag.UNTRAINED, e.Flag.UNTRAINED),
        ("counts", "flagged", e.Flag.UNTRAINED, e.Flag.UNKNOWN),
    ],
)
def test_of_two_flags_that_which_the_rules_take_worse_stays(
    untrained: Doubted, unknown: Doubted, brought: e.Flag, kept: e.Flag
) -> None:
    judged = replace(RULES, untrained=untrained, unknown_person=unknown)
    result = passed("AM-04", "leak-test", "09:00", by="zz", flag=brought)
    assert flag_of(result, judged, KIND, PEOPLE) is kept


def test_a_pass_that_the_rules_refuse_says_whose_and_why() -> None:
    def said(by: str, at: str = "09:00") -> str:
        result = passed("AM-04", "leak-test", at, by=by)
        return why(result, untrained="refused", unknown_person="refused")

    other = "let somebody who is trained on it do it; a fail or a fault everybody may write"
    assert said("kd") == ""
    assert said("EB") == (
        f"AM-04: a pass by 'EB', who is not trained on anaesthetic machine, is not taken; {other}"
    )
    assert said("kd", "2026-03-13T09:00") == (
        "AM-04: a pass by 'kd', whose training on anaesthetic machine ended on 2026-03-12, is not"
        f" taken; {other}"
    )
    assert said("kk").endswith("whom the book does not know, is not taken; did you mean kd?")
    assert said("") == "AM-04: a pass by nobody in particular is not taken; see `checkwatch people`"
    assert "a code that several people share" in said("theatre-4")


@pytest.mark.parametrize("outcome", ["fail", "stopped", "begun"])
def test_a_bad_result_is_taken_from_everybody(outcome: str) -> None:
    result = did("AM-04", "leak-test", e.Outcome(outcome), "09:00", by="zz")
    assert why(result, unknown_person="refused") == ""
    judged = replace(RULES, unknown_person="refused")
    assert flag_of(result, judged, KIND, PEOPLE) is e.Flag.UNKNOWN


@pytest.mark.parametrize(
    ("entry", "must"),
    [
        (passed("AM-04", "leak-test", "09:00"), True),
        (passed("AM-04", "self-test", "09:00"), True),
        (passed("AM-04", "fan", "09:00"), False),
        (did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"), True),
        (wrote(e.Fault, "AM-04", "09:00", severity=e.Severity.LIMIT, note="dim"), True),
        (wrote(e.EmergencyUse, "AM-04", "09:00", until=10**18, note="b", decided="kd"), True),
        (wrote(e.Struck, "AM-04", "09:00", of=3), True),
        (wrote(e.Returned, "AM-04", "09:00"), True),
        (wrote(e.Withdrawn, "AM-04", "09:00"), False),
        (happened("AM-04", "power-on", "09:00"), False),
    ],
    ids=lambda value: value.what if isinstance(value, e.Entry) else value,
)
def test_what_somebody_must_have_written(entry: e.Entry, must: bool) -> None:
    """A return only because a PIN is asked for it here."""
    for by in ("", " ", "theatre-4", "THEATRE-4"):
        problems = nobody(replace(entry, by=by), RULES, PEOPLE, "AM-04")
        assert [problem.remedy for problem in problems] == ["add --by with your own code"] * must
    assert nobody(replace(entry, by="kd"), RULES, PEOPLE, "AM-04") == ()


def test_a_pin_is_asked_for_what_clears_something() -> None:
    judged = replace(RULES, signatures={"leak-test": "I did it", "restore": "It never was"})
    struck = wrote(e.Struck, "AM-04", "09:00", of=3, restores=True, note="n")
    asked = {meaning_of(entry, judged) for entry in (passed("AM-04", "leak-test", "09:00"), struck)}
    assert asked == {"I did it", "It never was"}
    assert meaning_of(did("AM-04", "leak-test", e.Outcome.FAIL, "09:00"), judged) == ""
    assert meaning_of(replace(struck, restores=False), judged) == ""


def test_what_nobody_is_kept_from_is_the_same_in_a_rulebook_and_when_it_is_written() -> None:
    """Happenings have codes of their own, and of strikings only those that restore ask."""
    free = {kind.what for kind in may_write._FREE if kind is not e.Happening}
    assert {*words.FOR_EVERYBODY} == free | {e.Struck.what}
    assert {*words._BY_ITSELF} == {e.Enrolled.what, e.Restored.what}


@pytest.mark.parametrize("kind", [e.Moved, e.Reading])
def test_a_move_and_a_reading_ask_for_no_role_whatever_the_rules_say(kind: type[e.Entry]) -> None:
    """Kept out of the book a move would leave its gates ready."""
    asking = replace(RULES, roles={"engineer": Role("engineer", "Engineer", (kind.what,))})
    more: dict[type, Any] = {
        e.Moved: {"place": "Store"},
        e.Reading: {"meter": "h", "value": Decimal(1)},
    }
    entry = wrote(kind, "AM-04", "09:00", by="kd", **more[kind])
    assert mistakes_of(entry, asking, KIND, PEOPLE, "AM-04") == ()
