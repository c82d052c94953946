"""Going through a check at the machine, line by line: what is written, and what is not."""

from __future__ import annotations

import json
from datetime import timedelta
from functools import partial
from pathlib import Path

import pytest

from tests.steps.conftest import LOOK, PASS, RULES, Bench

ADVISORY = """
[[check]]
code = "filter"
title = "Filter"
kinds = ["anaesthetic-machine"]
gate = false
endless = true
  [[check.step]]
  say = "Rinse the filter."
  put_back = "Filter in its seat"
"""


#: What is opened by the look round, after `RULES`.
OPENS = """
[[check.step]]
say = "Open the lid."
put_back = "Lid shut"
"""


def only(folder: Path) -> Path:
    (found,) = folder.rglob("*.json")
    return found


def said(text: str) -> str:
    return " ".join(text.split())


# What is written


def test_its_beginning_and_its_result_are_written(bench: Bench) -> None:
    shown = bench.at("06:50").types(*PASS, code=0)
    begun, passed = bench.results()
    assert (begun["outcome"], begun["at"], begun["by"]) == ("begun", "2040-01-15T06:51:00Z", "kd")
    assert (passed["outcome"], passed["at"]) == ("pass", "2040-01-15T06:57:00Z")
    assert (passed["started"], passed["measures"]) == ("2040-01-15T06:51:00Z", "leak=60")
    assert "Now ready: leak test" in shown.out
    assert list(bench.state.rglob("*.json")) == []


def test_the_checks_caution_comes_first_and_a_steps_before_its_step(bench: Bench) -> None:
    shown = bench.types(*PASS).err
    words = ["No patient", "Begin?", "Look at the seals", "No oil near", "Open the reserve"]
    assert [shown.index(word) for word in words] == sorted(shown.index(word) for word in words)


def test_the_longer_text_is_shown_for_a_question_mark(bench: Bench) -> None:
    assert "although it looks shut" not in bench.types("yes").err
    assert "although it looks shut" in said(bench.types("yes", "?").err)


@pytest.mark.parametrize(
    ("lines", "outcome", "code"),
    [
        (["yes", "yes", "yes", "yes", "240", "yes", "yes"], "limited", 4),
        (["yes", "yes", "yes", "yes", "340", "yes", "yes"], "fail", 1),
        (["yes", "no", "no", "yes", "yes"], "fail", 1),
        (["yes", "stop", "no", "list begins"], "stopped", 1),
        (["yes", "yes", "yes", "yes", "60", "no", "no", "yes"], "limited", 4),
        (["yes", "yes", "yes", "yes", "60", "yes", "fail", "it hisses", "yes"], "fail", 1),
    ],
)
def test_the_exit_code_says_whether_the_check_counts(
    bench: Bench, lines: list[str], outcome: str, code: int
) -> None:
    bench.types(*lines, code=code)
    assert bench.outcomes == ["begun", outcome]


def test_summed_up_in_one_sentence_before_it_is_written(bench: Bench) -> None:
    shown = bench.types(*PASS[:-1]).err
    assert (
        "AM-02, leak test: pass; leak 60 mL/min; note: the run was over after 1 min of 2."
        in said(shown)
    )
    assert bench.outcomes == ["begun"]


def test_broken_off_for_an_emergency_it_says_what_is_owed_and_how_to_except(bench: Bench) -> None:
    shown = bench.types("yes", "yes", "yes", "stop", "yes", "yes", "airway: lost", code=1)
    assert bench.results()[-1]["note"] == "Broken off in an emergency: airway: lost"
    assert "Owed: leak test" in shown.out
    command = "checkwatch except AM-02 --reason 'airway: lost' --decided WHO --until WHEN --by kd"
    assert command in shown.err


# What is not


def test_not_begun_nothing_is_written(bench: Bench) -> None:
    bench.types("no", code=2)
    bench.types(code=130)
    assert bench.results() == []


@pytest.mark.parametrize("number", range(1, len(PASS)))
def test_at_the_end_of_the_input_it_is_left_and_gone_on_with(bench: Bench, number: int) -> None:
    bench.types(*PASS[:number], code=130)
    assert bench.outcomes == ["begun"]
    bench.does("cleared", "AM-02", code=1)
    shown = bench.types("yes", *PASS[number:], code=0)
    assert bench.outcomes == ["begun", "pass"]
    assert "Go on with it?" in shown.err


@pytest.mark.parametrize("number", range(1, len(PASS)))
def test_q_leaves_it_at_every_question(bench: Bench, number: int) -> None:
    shown = bench.types(*PASS[:number], "q", code=130)
    assert "checkwatch steps AM-02 leak-test --by kd" in shown.err
    assert bench.outcomes == ["begun"]


def test_who_leaves_is_told_what_stays_open(bench: Bench) -> None:
    assert "Put it right" not in bench.types("yes", "q").err
    assert "Put it right: Reserve cylinder shut" in bench.types("yes", "yes", "q").err


@pytest.mark.parametrize("number", range(1, len(PASS)))
def test_it_can_be_broken_off_at_every_question(bench: Bench, number: int) -> None:
    back = ["yes"] if 2 <= number < 6 else []
    bench.types(*PASS[:number], "stop", *back, "no", "list begins", code=1)
    assert bench.outcomes == ["begun", "stopped"]


def test_time_alone_writes_nothing(bench: Bench) -> None:
    bench.types(*PASS[:3])
    bench.at("06:30")
    assert bench.outcomes == ["begun"]
    assert "By the clock the run is over" in said(bench.types("yes").err)
    assert bench.outcomes == ["begun"]


# Going on


def test_going_on_shows_what_was_answered(bench: Bench) -> None:
    bench.types(*PASS[:3])
    shown = said(bench.types().err)
    assert "1 Look at the seals.: yes" in shown
    assert "2 Open the reserve cylinder.: yes" in shown


def test_not_gone_on_with_it_begins_anew(bench: Bench) -> None:
    bench.types(*PASS[:5])
    bench.types("no", *PASS, code=0)
    assert bench.outcomes == ["begun", "begun", "pass"]


OPEN = "Look first, is it so: Reserve cylinder shut?"


def anew(bench: Bench, why: str) -> None:
    shown = bench.types("yes").err
    assert f"begins anew: {why}" in said(shown), shown
    assert OPEN in said(shown.partition("Begin?")[0]), shown
    assert "1/3 Look at the seals" in shown


def test_another_persons_answers_are_not_taken_and_what_they_opened_is_told(bench: Bench) -> None:
    bench.types(*PASS[:3])
    shown = bench.types("yes", by="ao").err
    assert "Under way already since 06:01 GMT by kd, entry 4." in said(shown)
    assert OPEN in said(shown.partition("Begin?")[0])
    assert "1/3 Look at the seals" in shown


def test_who_only_looks_or_mistypes_a_code_takes_nobodys_answers_away(bench: Bench) -> None:
    bench.types(*PASS[:5])
    bench.types("no", by="ao", code=2)
    bench.types("q", by="kdd", code=130)
    bench.types("yes", *PASS[5:], code=0)
    assert bench.outcomes == ["begun", "pass"]


def test_answers_given_up_are_there_until_the_new_beginning_is_written(bench: Bench) -> None:
    bench.types(*PASS[:3])
    bench.does("happened", "AM-02", "circuit-change", "--by", "ao")
    for _ in range(2):
        assert OPEN in said(bench.types("no", code=2).err)


def test_what_was_not_reached_is_not_said_to_be_open(bench: Bench) -> None:
    bench.types("yes")
    assert OPEN not in said(bench.types("no", code=None).err)


def test_not_gone_on_with_what_was_opened_is_told(bench: Bench) -> None:
    bench.types(*PASS[:3])
    assert OPEN in said(bench.types("no", "no", code=2).err)


def test_what_covers_it_and_is_under_way_is_told_with_what_it_opens(bench: Bench) -> None:
    covering = RULES.replace('code = "look"', 'code = "look"\ncovers = ["leak-test"]')
    bench.adopts(covering + OPENS)
    bench.types("yes", check="look", by="ao")
    shown = said(bench.types("yes").err)
    assert "The look round is under way since 06:01 GMT by ao, entry 5." in shown
    assert "is it so: Lid shut?" in shown


def test_begun_by_two_at_once_the_second_is_told_before_anything_is_written(bench: Bench) -> None:
    begin = ["done", "AM-02", "leak-test", "begun", "--by", "ao"]
    shown = bench.types(lambda: bench.does(*begin), "yes", "no", code=2).err
    assert "meanwhile somebody else was at it" in said(shown)
    assert "Under way already since 06:01 GMT by ao, entry 4." in said(shown)
    assert bench.outcomes == ["begun"]
    bench.types("yes", "q", code=130)
    assert bench.outcomes == ["begun", "begun"]


def test_cleared_by_somebody_meanwhile_who_begins_is_told_what_that_costs(bench: Bench) -> None:
    bench.types(*LOOK, check="look", code=0)
    done = ["done", "AM-02", "leak-test", "pass", "--measure", "leak=60", "--by", "ao"]
    shown = bench.types(lambda: bench.does(*done), "yes", "no", code=2).err
    assert "AM-02 is cleared now; from the beginning until the result it is not" in said(shown)
    assert bench.outcomes[2:] == ["pass"]


def test_who_comes_back_at_a_remedy_sees_the_step_that_it_is_of(bench: Bench) -> None:
    shown = said(bench.types("yes", "no").err)
    assert shown.count("1/3 Look at the seals.") == 1
    again = said(bench.types("hm", "yes").err)
    assert "1/3 Look at the seals. Expected: No granules. Try: Wipe the seal." in again
    assert "Type yes or no." in again


def test_what_was_left_too_long_begins_anew(bench: Bench) -> None:
    bench.at("06:00").types(*PASS[:3])  # the last answer at 06:03; an hour and four minutes
    bench.at("07:07").types()
    bench.at("07:08")
    anew(bench, "it was left too long ago")


def test_what_was_voided_meanwhile_begins_anew(bench: Bench) -> None:
    bench.types(*PASS[:3])
    bench.does("happened", "AM-02", "circuit-change", "--by", "ao")
    anew(bench, "what was written since voids it")


def test_what_was_written_of_it_meanwhile_begins_anew(bench: Bench) -> None:
    bench.types(*PASS[:3])
    bench.does("done", "AM-02", "leak-test", "stopped", "--by", "ao")
    anew(bench, "entry 5 came after it, leak-test stopped")


def test_a_changed_rule_begins_anew(bench: Bench) -> None:
    bench.types(*PASS[:3])
    bench.adopts(RULES.replace("Wipe the seal.", "Wipe it."))
    anew(bench, "its rule has changed")


@pytest.mark.parametrize("data", [b"", b"{", b"\xff\xfe", b"[]", b'{"said": 3}', b"[" * 100_000])
def test_an_unreadable_file_of_answers_begins_anew(bench: Bench, data: bytes) -> None:
    bench.types(*PASS[:3])
    only(bench.state).write_bytes(data)
    assert "1/3 Look at the seals" in bench.types("yes").err


@pytest.mark.parametrize("line", ["certainly", "", "\x1b[2J", "x" * 5000])
def test_answers_that_nobody_could_type_begin_anew(bench: Bench, line: str) -> None:
    bench.types(*PASS[:3])
    *before, last = only(bench.state).read_text().splitlines()
    changed = json.dumps([line, json.loads(last)[1]])
    only(bench.state).write_text("\n".join([*before, changed, ""]))
    anew(bench, "its answers cannot be read")


def test_an_answer_that_was_not_kept_to_its_end_is_asked_once_more(bench: Bench) -> None:
    bench.types(*PASS[:3])
    file = only(bench.state)
    file.write_bytes(file.read_bytes()[:-3])
    shown = bench.types("yes", "q", code=130).err
    assert "2/3 Open the reserve cylinder" in shown
    bench.types("yes", *PASS[2:], code=0)
    assert bench.outcomes == ["begun", "pass"]


def test_many_notes_are_kept_line_by_line(bench: Bench) -> None:
    bench.tick = timedelta(seconds=1)
    notes = [f"note: {number}" for number in range(300)]
    bench.types("yes", *notes, "q", code=130)
    assert len(only(bench.state).read_text().splitlines()) == 301
    shown = bench.types("yes", *PASS[1:], code=None)
    assert "299" in bench.results()[-1]["note"], shown


def test_answers_from_before_the_result_are_not_taken(bench: Bench) -> None:
    bench.types(*PASS[:3])
    file = only(bench.state)
    older = file.read_text()
    bench.types("yes", *PASS[3:], code=0)
    file.write_text(older)
    anew(bench, "entry 5 came after it, leak-test pass")


def test_where_answers_cannot_be_kept_it_says_so_and_goes_on(bench: Bench) -> None:
    bench.state.write_text("in the way")
    shown = bench.types(*PASS, code=0)
    assert "Its answers cannot be kept" in shown.err


def test_an_answer_to_a_question_left_open_too_long_is_not_taken(bench: Bench) -> None:
    shown = bench.types(*PASS[:4], lambda: bench.at("09:00"), *PASS[4:], code=2)
    assert "was left too long" in shown.err
    assert "Put it right: Reserve cylinder shut" in shown.err
    assert bench.outcomes == ["begun"]


def test_a_pass_of_what_was_voided_meanwhile_is_warned_of_and_does_not_count(bench: Bench) -> None:
    change = ["happened", "AM-02", "circuit-change", "--by", "ao"]
    shown = bench.types(*PASS[:5], lambda: bench.does(*change), *PASS[5:], code=1)
    assert "what was written since voids it. A good result will not count" in said(shown.err)
    assert bench.outcomes == ["begun", "pass"]
    bench.does("cleared", "AM-02", code=1)


@pytest.mark.parametrize(("last", "written"), [("60", False), ("340", True)])
def test_over_a_result_of_others_only_a_bad_one_is_written(
    bench: Bench, last: str, written: bool
) -> None:
    stopped = ["done", "AM-02", "leak-test", "stopped", "--by", "ao"]
    lines = [*PASS[:4], last, "yes", lambda: bench.does(*stopped), "yes"]
    shown = bench.types(*lines, code=1 if written else 2)
    assert ("something else was written of it meanwhile" in shown.err) is not written
    assert bench.outcomes == ["begun", "stopped", *(["fail"] if written else [])]


# A code that several share since


def test_a_check_is_broken_off_whatever_became_of_the_code_meanwhile(bench: Bench) -> None:
    people = bench.folder / "people.csv"
    people.write_text("code,shared\nkd,yes\n")
    share = partial(bench.does, "people", people, "--yes")
    bench.types("yes", share, "stop", "no", "list begins", code=1)
    assert [(row["outcome"], row["by"]) for row in bench.results()][1:] == [("stopped", "kd")]
    bench.types("yes", code=2)
    assert bench.outcomes == ["begun", "stopped"]


def test_a_check_is_broken_off_whatever_became_of_its_numbers(bench: Bench) -> None:
    adopt = partial(bench.adopts, RULES.replace("[0, 2000]", "[0, 350]"))
    bench.types(*PASS[:4], "400", adopt, "no", "stop", "yes", "no", "list begins", code=1)
    assert [(row["outcome"], row["measures"]) for row in bench.results()][1:] == [("stopped", "")]


# What is left open


@pytest.mark.parametrize(
    ("lines", "outcome"),
    [
        (["yes", "yes", "stop", "no", "no", "no", "list begins"], "stopped"),
        (["yes", "yes", "no", "yes", "no", "no", "yes"], "fail"),
    ],
)
def test_what_a_bad_result_leaves_open_is_a_fault_that_limits(
    bench: Bench, lines: list[str], outcome: str
) -> None:
    bench.types(*lines, code=1)
    assert bench.outcomes == ["begun", outcome]
    (fault,) = [row for row in bench.rows() if row["what"] == "fault"]
    assert fault["note"] == "left open by the leak test: Reserve cylinder shut"
    bench.types(*PASS, *LOOK, check="", code=4)
    assert "left open by the leak test" in said(bench.does("cleared", "AM-02", code=4).out)


def test_what_a_limited_result_leaves_open_is_its_limit_and_no_fault(bench: Bench) -> None:
    bench.types("yes", "yes", "yes", "yes", "60", "no", "no", "yes", code=4)
    assert "fault" not in {row["what"] for row in bench.rows()}


def test_an_advisory_check_broken_off_limits_the_machine_and_asks_no_exception(
    bench: Bench,
) -> None:
    rules = bench.folder / "rules.toml"
    rules.write_text(f"{RULES}\n{ADVISORY}")
    bench.does("rules", "adopt", rules, "--yes", "--by", "ms", "--why", "filter")
    bench.types(*PASS, *LOOK, check="", code=0)
    shown = bench.types("yes", "stop", "no", "no", "no", "called away", check="filter", code=1)
    assert "exception" not in shown.err
    assert "NOT PUT RIGHT: Filter in its seat" in shown.err
    assert "left open by the filter: Filter in its seat" in said(shown.out)
    bench.does("cleared", "AM-02", code=4)


@pytest.mark.parametrize(
    ("codes", "faults"),
    [
        ([], []),
        ([""], []),
        (["team", "Kim Dale", "Team"], []),
        (["kd"], ["kd"]),
        (["team", "kd"], ["kd"]),
    ],
)
def test_what_is_left_open_is_never_lost_for_want_of_somebodys_own_code(
    bench: Bench, codes: list[str], faults: list[str]
) -> None:
    """A fault is written by somebody in particular; without a code the result's note has it."""
    rules = bench.folder / "rules.toml"
    rules.write_text(f"{RULES}\n{ADVISORY}")
    bench.does("rules", "adopt", rules, "--yes", "--by", "ms", "--why", "filter")
    people = bench.folder / "people.csv"
    people.write_text("code,shared\nteam,yes\n")
    bench.does("people", people, "--yes")
    lines = ["yes", "stop", "no", "no", "no", "called away", *codes]
    shown = bench.types(*lines, check="filter", by="team", code=1)
    assert "a code that several people share" in said(shown.err)
    _, stopped, *after = [row for row in bench.rows() if row["what"] in ("filter", "fault")]
    assert (stopped["outcome"], stopped["by"]) == ("stopped", "team")
    assert stopped["note"].startswith("NOT PUT RIGHT: Filter in its seat")
    assert [row["by"] for row in after] == faults
    command = (
        "checkwatch fault AM-02 limit --note 'left open by the filter: Filter in its seat' --by WHO"
    )
    assert (command in shown.err) is not bool(faults)
    assert "NOT PUT RIGHT: Filter in its seat" in shown.err


# Before the first question


def test_before_the_first_question_q_and_stop_leave_and_a_question_mark_explains(
    bench: Bench,
) -> None:
    shown = bench.types("?", "q", code=130)
    assert "nothing is written" in said(shown.err)
    bench.types("stop", code=2)
    bench.types("Q", check="", code=130)
    assert bench.results() == []


def test_before_going_on_q_leaves_it_waiting_and_stop_breaks_it_off(bench: Bench) -> None:
    bench.types(*PASS[:3])
    shown = bench.types("?", "q", code=130)
    assert "stop breaks it off" in said(shown.err)
    assert bench.outcomes == ["begun"]
    bench.types("stop", "yes", "no", "list begins", code=1)
    assert bench.outcomes == ["begun", "stopped"]


def test_a_run_over_early_hears_before_when_a_pass_may_not_count(bench: Bench) -> None:
    bench.tick = timedelta(seconds=20)
    shown = bench.at("06:50").types(*PASS[:4]).err
    warning = "Before 06:52 GMT a pass may not count: the test takes 2 min and began at 06:50 GMT."
    assert f"{warning} Wait for it?" in said(shown)


# Without a check


def test_without_a_check_the_least_work_is_led_through(bench: Bench) -> None:
    shown = bench.types(*PASS, *LOOK, check="", code=0)
    first = "AM-02: not cleared. A leak test and a look round clear it"
    assert said(shown.err).startswith(first)
    assert bench.outcomes == ["begun", "pass", "begun", "pass"]


def test_without_a_check_a_half_done_one_comes_first(bench: Bench) -> None:
    bench.types("yes", check="look", code=130)
    shown = bench.types("yes", "pass", "yes", *PASS, check="", code=0)
    assert "Go on with it?" in shown.err
    assert bench.outcomes == ["begun", "pass", "begun", "pass"]


def test_it_stops_at_a_check_that_does_not_count(bench: Bench) -> None:
    bench.types("yes", "no", "no", "yes", "yes", check="", code=1)
    assert bench.outcomes == ["begun", "fail"]


def test_what_is_left_out_leaves_the_machine_as_it_stands(bench: Bench) -> None:
    bench.types("no", check="", code=1)
    bench.types(*PASS, "no", check="", code=1)
    assert bench.outcomes == ["begun", "pass"]


def test_of_a_cleared_machine_nothing_is_asked_and_its_checks_are_named(bench: Bench) -> None:
    bench.types(*PASS, *LOOK, check="")
    shown = bench.types(check="", code=0)
    assert "AM-02 is cleared" in shown.out
    assert "name it: leak-test or look" in shown.err


def test_a_test_of_a_cleared_machine_says_what_its_beginning_costs(bench: Bench) -> None:
    bench.types(*PASS, *LOOK, check="")
    shown = bench.types("no", code=2)
    assert "AM-02 is cleared now; from the beginning until the result it is not" in said(shown.err)


def test_where_others_must_act_first_nothing_is_begun(bench: Bench) -> None:
    bench.does("withdraw", "AM-02", "--by", "pe", "--note", "wheel loose")
    shown = bench.types("yes", check="", code=1)
    assert "whoever returns it to use: wheel loose" in said(shown.out)
    assert bench.results() == []


# Who, which machine, what is typed


def test_who_is_missing_is_asked_for_and_refused_in_a_pipe(bench: Bench) -> None:
    bench.types("", "\x1b[A", "kd", *PASS, by="", code=0)
    assert {row["by"] for row in bench.results()} == {"kd"}


@pytest.mark.parametrize(
    ("words", "code", "remedy"),
    [
        (["AM-99", "leak-test"], 6, "did you mean AM-02?"),
        (["Theatre 2", "leak-test"], 6, "is a place; name AM-02"),
        (["AM-02", "leek-test"], 2, 'did you mean "leak-test"?'),
        (["AM-02", "filter"], 2, "its checks are leak-test, look"),
    ],
)
def test_what_there_is_not_is_refused(
    bench: Bench, words: list[str], code: int, remedy: str
) -> None:
    shown = bench.does("steps", *words, "--by", "kd", code=code)
    assert remedy in shown.err
    assert bench.results() == []


def test_in_a_pipe_who_must_be_said(bench: Bench) -> None:
    assert "add --by WHO" in bench.does("steps", "AM-02", "leak-test", code=2).err


def test_a_cleared_machine_is_answered_with_the_banner_once(bench: Bench) -> None:
    bench.adopts(RULES.replace('title = "Small', 'title = "EXAMPLE, small'))
    bench.types(*PASS, *LOOK, check="")
    shown = bench.types(check="", code=0)
    assert (shown.out + shown.err).count("everything in this book") <= 1


def test_garbage_between_the_answers_changes_nothing(bench: Bench) -> None:
    garbage = ["", " ", "\x00", "\x1b[31m", "yesno", "x" * 5000, "\u202e", "back " * 3]
    lines = [line for answer in PASS for line in (*garbage, answer)]
    shown = bench.types(*lines, code=0)
    assert bench.outcomes == ["begun", "pass"]
    assert "\x1b" not in shown.err
    assert max(map(len, shown.err.splitlines())) < 2000


def adopted(bench: Bench, more: str) -> None:
    (bench.folder / "rules.toml").write_text(RULES.replace('zone = "', more + '\nzone = "', 1))
    why = ["--yes", "--by", "ms", "--why", "roles"]
    bench.does("rules", "adopt", bench.folder / "rules.toml", *why)


@pytest.mark.parametrize(
    ("unknown", "said_before", "outcomes"),
    [
        ("refused", "a pass by 'kd', whom the book does not know, is not taken", ["begun"]),
        ("stopped", "a pass by somebody unknown counts as broken off", ["begun", "pass"]),
    ],
)
def test_whose_pass_is_not_taken_or_does_not_count_hears_so_before_the_first_step(
    bench: Bench, unknown: str, said_before: str, outcomes: list[str]
) -> None:
    adopted(bench, f'unknown_person = "{unknown}"')
    shown = bench.types(*PASS)
    assert shown.code != 0
    assert said_before in said(shown.err.partition("Begin?")[0])
    assert bench.outcomes == outcomes


def test_a_book_that_another_clock_is_ahead_in_is_gone_through_all_the_same(bench: Bench) -> None:
    bench.at("06:31").does("note", "AM-02", "written by a clock that is a minute ahead")
    bench.tick = timedelta(seconds=5)
    bench.at("06:30").types(*PASS[:4], "no", *PASS[4:], code=0)
    assert bench.outcomes == ["begun", "pass"]
