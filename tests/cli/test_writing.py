"""Writing: for several machines, names that mean two things, strikings, adoptions, imports."""

from __future__ import annotations

import shlex
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.line import Said, run

HOSTILE = [
    "[bold red]cleared[/] [link=x]",
    "[/]",
    "\x1b[2J\x1b[1;1HAM-01 is cleared\x07\r\b",
    "\u202eDELBATSNU\u202c \u200f\u2066",
    "line\nAM-01 is cleared until noon.\n",
    "x" * 10_000,
    "=cmd()|'; DROP TABLE entry; --",
    "{0} %s ${HOME} `id`",
    "é\u0301\U0001f4a9",
    " ",
]
#: What could move a cursor, ring, or turn the direction of reading.
RAW = set(map(chr, range(32))) - {"\n"} | set(map(chr, range(127, 160)))
RAW |= set("\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u2028\u2029")


def harmless(said: Said) -> None:
    assert not RAW & set(said.out + said.err)
    assert not any(line.startswith("AM-01 is cleared") for line in said.out.splitlines())


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_in_a_note_stays_text(small: str, text: str) -> None:
    said = run("--db", small, "fault", "AM-01", "stop-use", "--note", text, "--by", "kd")
    assert said.code in (0, 2)
    harmless(said)
    for words in (["cleared", "AM-01"], ["why", "AM-01"], ["board", "--once"], ["overdue"]):
        shown = run("--db", small, *words)
        assert shown.code in (0, 1)
        harmless(shown)
    assert run("--db", small, "verify").code == 0


@pytest.mark.parametrize("text", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_text_as_a_name_or_a_value(small: str, text: str) -> None:
    for words in (
        ["cleared", text], ["windows", text], ["which", "--kind", text], ["overdue", "--at", text],
        ["cleared", "AM-01", "--for", text], ["windows", "AM-01", "--check", text], [text],
        ["done", "AM-01", text, "pass"], ["done", "AM-01", "self-test", text], ["note", text, "x"],
        ["done", "AM-01", "self-test", "pass", "--measure", text], ["happened", "AM-01", text],
        ["move", "AM-01", text], ["enrol", text, "--kind", "k\x07"], ["import", text],
        ["rules", "check", text], ["strike", text, "--reason", "r"], ["withdraw", "--area", text],
    ):  # fmt: skip
        said = run("--db", small, *words)
        assert (said.code in (2, 6), said.out) == (True, ""), words
        harmless(said)


def numbers(book: str) -> int:
    """How many lines a logbook file of the book has."""
    return len(run("export", "--db", book).out.splitlines())


@pytest.mark.parametrize(
    ("options", "tags"),
    [
        (["--place", "Theatre 2"], ["AM-02", "AM-03", "WM-01"]),
        (["--area", "South"], ["AM-02", "AM-03", "WM-01"]),
        (["--kind", "anaesthetic-machine"], ["AM-01", "AM-02", "AM-03"]),
        (["--area", "South", "--kind", "anaesthetic-machine"], ["AM-02", "AM-03"]),
    ],
)
def test_a_list_for_several_machines_is_shown_before_a_yes(
    small: str, options: list[str], tags: list[str]
) -> None:
    before = numbers(small)
    for words in (
        ["happened", "power-on"],
        ["fault", "limit", "--note", "dim", "--by", "kd"],
        ["withdraw"],
    ):
        said = run("--db", small, *words, *options)
        assert (said.code, said.out) == (2, "")
        assert all(tag in said.err for tag in tags)
        assert "--yes" in said.err
    assert numbers(small) == before
    assert run("--db", small, "happened", "power-on", *options, "--yes").code == 0
    machines = [tag for tag in tags if tag != "WM-01"]
    assert numbers(small) == before + len(machines)


def test_a_name_that_is_a_tag_and_a_place_is_refused(small: str) -> None:
    said = run("--db", small, "enrol", "Theatre 1", "--kind", "trolley", "--place", "Theatre 2")
    assert said.code == 2
    assert "is the tag of a machine and the name of a place" in said.err
    assert run("--db", small, "cleared", "theatre 1").code == 1, "capitals may differ"


def test_a_used_tag_is_not_enrolled_again(small: str) -> None:
    again = ["enrol", "AM-01", "--kind", "anaesthetic-machine", "--place", "Theatre 1"]
    said = run("--db", small, *again)
    assert (said.code, said.out) == (2, "")
    assert "AM-01: is enrolled already" in said.err
    assert run("--db", small, "retire", "AM-01").code == 0
    assert run("--db", small, *again).code == 2, "a retired machine keeps its tag"


def test_a_plain_striking_takes_away_what_was_given_a_restoring_one_what_it_cost(
    small: str,
) -> None:
    here = ["--db", small]
    run(*here, "done", "AM-01", "self-test", "pass", "--by", "kd")
    change = run(*here, "happened", "AM-01", "power-on", "--json").document["entries"][0]
    assert run(*here, "cleared", "AM-01").code == 1
    assert run(*here, "strike", str(change), "--reason", "wrong machine", "--by", "kd").code == 0
    assert run(*here, "cleared", "AM-01").code == 1
    assert (
        run(
            *here, "strike", str(change), "--reason", "wrong machine", "--by", "kd", "--restores"
        ).code
        == 0
    )
    assert run(*here, "cleared", "AM-01").code == 0
    test = run(*here, "done", "AM-02", "self-test", "pass", "--by", "kd", "--json").document[
        "entries"
    ][0]
    assert run(*here, "strike", str(test), "--reason", "wrong kit", "--by", "kd").code == 0
    assert run(*here, "cleared", "AM-02").code == 1


def test_the_command_that_an_answer_hands_over_clears_only_what_was_done_since(suite: str) -> None:
    """AM-04's leak test was voided by an absorbent change, some minutes before now."""
    shown = run("cleared", "AM-04", "--db", suite).out
    (line,) = [one for one in shown.splitlines() if one.startswith("  checkwatch done")]
    assert run("--db", suite, *shlex.split(line)[1:], "--what-if").code == 2, "typed as it stands"
    measured = line.replace("NUMBER", "60").replace("WHO", "kd")
    now = datetime.now(UTC).isoformat()
    for when, standing in (("yesterday 12:00", "not-cleared"), (now, "cleared")):
        words = shlex.split(measured.replace("WHEN", f"'{when}'"))[1:]
        said = run("--db", suite, *words, "--what-if", "--json")
        assert (said.code, said.document["standing"]) == (0, standing)


def test_what_if_writes_nothing(small: str) -> None:
    before = numbers(small)
    said = run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd", "--what-if")
    assert said.code == 0
    assert numbers(small) == before


def test_a_rulebook_is_not_adopted_from_the_past_and_shows_what_it_would_change(
    small: str, files: Path, tmp_path: Path
) -> None:
    hour_ago = (datetime.now(UTC) - timedelta(hours=1)).isoformat()
    run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd", "--at", hour_ago)
    rules = tmp_path / "stricter.toml"
    text = (files / "rules.toml").read_text(encoding="utf-8")
    rules.write_text(text.replace("PT24H", "PT1S"), encoding="utf-8")
    adopt = ["--db", small, "rules", "adopt", rules]
    who = ["--by", "ld", "--why", "shorter"]
    assert run(*adopt, "--yes").code == 2, "who and why are kept with it"
    past = run(*adopt, *who, "--from", "yesterday 07:00", "--yes")
    assert (past.code, past.out) == (2, "")
    assert "is in the past" in past.err
    shown = run(*adopt, *who)
    assert shown.code == 2, "off a terminal it needs --yes"
    assert "AM-01" in shown.out
    assert "--yes" in shown.err
    assert run("--db", small, "cleared", "AM-01").code == 0
    assert run(*adopt, *who, "--yes").code == 0
    assert "1 second" in run("--db", small, "rules", "show").out


LOG = """\
machine,what,at,started,outcome,measures,limits,until,place,of,by,decided,note,ref
AM-01,self-test,2025-03-03T07:00,,pass,,,,,,kd,,,R1
AM-02,self-test,2025-03-03T07:00,,splendid,,,,,,kd,,,R2
AM-02,self-test,2025-03-03T08:00,,pass,,,,,,kd,,,R3
"""


def test_import_takes_all_or_nothing_and_with_reject_the_good_rows(
    small: str, tmp_path: Path
) -> None:
    log, bad = tmp_path / "log.csv", tmp_path / "bad.csv"
    log.write_text(LOG)
    said = run("--db", small, "import", log)
    assert (said.code, said.out) == (2, "")
    assert "3" in said.err
    assert numbers(small) == 1
    taken = run("--db", small, "import", log, "--reject", bad)
    assert taken.code == 0
    assert "1 row written" in taken.out
    assert "2 rows refused" in taken.out
    assert "splendid" in bad.read_text()
    assert numbers(small) == 2
    assert "skipped" in run("--db", small, "import", log, "--reject", bad).out
    assert run("--db", small, "cleared", "AM-02", "--at", "2025-03-03T09:00").code == 1


def test_no_row_is_taken_where_the_bad_ones_cannot_be_kept(small: str, tmp_path: Path) -> None:
    log = tmp_path / "log.csv"
    log.write_text(LOG)
    for reject in (tmp_path / "no folder" / "bad.csv", tmp_path):
        said = run("--db", small, "import", log, "--reject", reject)
        assert (said.code, said.out) == (2, "")
    assert numbers(small) == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no disk here is full on demand")
def test_nothing_is_written_where_the_bad_rows_find_no_room(small: str, tmp_path: Path) -> None:
    """Else they would be lost: the file could be opened."""
    log = tmp_path / "log.csv"
    log.write_text(LOG)
    said = run("--db", small, "import", log, "--reject", "/dev/full")
    assert (said.code, said.out) == (6, "")
    assert said.err.startswith("/dev/full: cannot be written: ")
    assert "nothing is written into the book" in said.err
    assert numbers(small) == 1


def test_an_import_of_which_nothing_comes_leaves_the_file_for_bad_rows_alone(
    small: str, tmp_path: Path
) -> None:
    log, new, old = tmp_path / "log.csv", tmp_path / "new.csv", tmp_path / "old.csv"
    log.write_text(LOG.replace("AM-02", "AM-99"))
    old.write_text("of an earlier import")
    for reject in (new, old):
        assert run("--db", small, "import", log, "--reject", reject).code == 2
    assert not new.exists()
    assert old.read_text() == "of an earlier import"
    log.write_text(LOG)
    assert run("--db", small, "import", log, "--reject", old).code == 0
    assert old.read_text().startswith("machine,what,at,")


def test_no_file_that_a_command_needs_is_overwritten(small: str, tmp_path: Path) -> None:
    log, new = tmp_path / "log.csv", tmp_path / "new.csv"
    log.write_text(LOG)
    (tmp_path / "other.db").symlink_to(small)
    for words in (
        ["import", log, "--reject", log],
        ["import", log, "--reject", small],
        ["export", "--out", small],
        ["export", "--out", tmp_path / "other.db"],
        ["export", "--out", new, "--fleet", new],
    ):
        said = run("--db", small, *words)
        assert (said.code, said.out) == (2, "")
        assert "would be lost" in said.err
    assert log.read_text() == LOG
    assert not new.exists()
    assert run("--db", small, "verify").code == 0


def test_a_clearance_is_over_at_its_very_end(small: str) -> None:
    """A self-test of 24 hours ends at the instant at which they are over, not after it."""
    with freeze_time("2040-06-01T07:00:00Z"):
        assert run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
    for moment, code in (("06:59:59.999999", 0), ("07:00:00", 1)):
        with freeze_time(f"2040-06-02T{moment}Z"):
            assert run("--db", small, "cleared", "AM-01").code == code
