"""`heard` stops repeats and no debt; `watch --status` says whether anybody watches."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from checkwatch.answers.notice.kinds import Kind
from checkwatch.core.instant import parse_instant
from checkwatch.run.notices import load
from checkwatch.run.watcher.daemon import Daemon
from checkwatch.run.watcher.tick import Watcher
from tests.cli.clocked import Clocked
from tests.cli.line import run
from tests.cli.test_send import NOTICES, Sending, tables

PAGE = (Path(__file__).parents[2] / "docs" / "reference" / "json.md").read_text(encoding="utf-8")


@pytest.fixture
def sending(clocked: Clocked, tmp_path: Path) -> Sending:
    """A suction test has failed, and the engineer was told."""
    found = Sending(clocked, tmp_path)
    clocked.at("06:10", "done", "AM-02", "suction-test", "fail", "--note", "weak")
    found.at("06:10", "send", "gate-failed", code=1)
    return found


def test_a_notice_that_was_heard_is_not_repeated_for_a_while(sending: Sending) -> None:
    said = sending.clocked.says("06:20", "heard", "1", "--by", "hv")
    assert said == (
        "Notice 1 (check failed, AM-02) was heard by hv. It is told again after a while as long as "
        "it stands. What is owed stays owed."
    )
    sending.at("06:45", "send", "gate-failed", code=1)
    assert len(sending.told("engineer")) == 1
    sending.at("08:21", "send", "gate-failed", code=1)
    assert len(sending.told("engineer")) == 2


def test_heard_never_ends_a_debt(sending: Sending) -> None:
    before = sending.clocked.at("06:20", "overdue", "--json", code=1).document["overdue"]
    sending.clocked.at("06:20", "heard", "1", "--by", "hv")
    assert sending.clocked.at("06:20", "overdue", "--json", code=1).document["overdue"] == before
    assert sending.clocked.at("06:20", "cleared", "AM-02", code=1).out


def test_a_list_that_was_heard_is_not_told_again(sending: Sending) -> None:
    sending.at("06:30", "send", "nightly-list", code=1)
    assert sending.clocked.says("06:31", "heard", "2", "--by", "hv") == (
        "Notice 2 (what is owed, all areas) was heard by hv. It is not told again. What is owed "
        "stays owed."
    )


@pytest.mark.parametrize(
    ("words", "code", "told"),
    [
        (["7", "--by", "hv"], 6, "notice 7: there is none; its number stands in the message; see"),
        (["-1", "--by", "hv"], 2, ""),
        (["one", "--by", "hv"], 2, ""),
        (["99999999999999999999999", "--by", "hv"], 2, ""),
        (["9223372036854775807", "--by", "hv"], 6, "notice 9223372036854775807: there is none"),
        (["1", "--by", ""], 2, ""),
        (["1", "--by", "  "], 2, ""),
        (["1"], 2, ""),
    ],
)
def test_what_is_no_notice_or_nobody_is_refused(
    sending: Sending, words: list[str], code: int, told: str
) -> None:
    before = tables(sending.clocked.book)
    said = sending.clocked.at("06:20", "heard", *words, code=code)
    assert said.err.startswith(told)
    assert (said.out, bool(said.err)) == ("", True)
    assert tables(sending.clocked.book) == before


def test_a_code_that_several_share_says_of_nobody_that_they_heard(sending: Sending) -> None:
    people = sending.folder / "people.csv"
    people.write_text("code,name,roles,trained,shared\nscreen,,,,yes\n")
    sending.clocked.at("06:15", "people", str(people), "--yes")
    said = sending.clocked.at("06:20", "heard", "1", "--by", "screen", code=2)
    assert said.err == "--by: 'screen' is a code that several people share; type your own\n"


# Whether anybody watches


def test_nobody_has_ever_watched(sending: Sending) -> None:
    said = sending.clocked.at("06:20", "watch", "--status", code=1)
    assert said.out.startswith("No watcher has ever looked at this book.\nNothing is undelivered.")
    assert re.search(
        r"Told last\nmessage +to +handed over +what\n"
        r"1 +engineer +06:10 GMT +AM-02, Theatre 2: suction test failed",
        said.out,
    )


def look(sending: Sending, time: str) -> None:
    """A watcher looks once, and hands nothing over."""
    at = parse_instant(f"2040-01-15T{time}", ZoneInfo("Europe/London"))
    plan = load(str(sending.file))
    Watcher(str(sending.clocked.book), plan, "one", at).tick(at)


def test_somebody_watches_and_then_nobody_does(sending: Sending) -> None:
    look(sending, "06:35")
    said = sending.clocked.at("06:35", "watch", "--status")
    assert said.out.startswith("The watcher last looked at 06:35 GMT, now.\nIt began at 06:35 GMT")
    gone = sending.clocked.at("06:38", "watch", "--status", code=1)
    assert gone.out.startswith("NOBODY WATCHES: the watcher last looked at 06:35 GMT")
    assert "It began" not in gone.out


def test_what_is_undelivered_is_shown_with_the_reason(sending: Sending) -> None:
    (sending.folder / "desk.txt").mkdir()
    sending.at("06:30", "send", "nightly-list", code=7)
    look(sending, "06:30")
    said = sending.clocked.at("06:30", "watch", "--status", code=1)
    assert "Undelivered: 1 message. Tell these people by another way." in said.out
    row = " ".join(said.out.split("what, and why not")[1].split())
    assert row.startswith("2 desk 06:30 GMT 06:31 GMT 2 of 2 machines to see to: file ")


def keys(document: Any) -> set[str]:
    return set(document)


def test_the_status_document_has_the_keys_of_the_reference(sending: Sending) -> None:
    (sending.folder / "desk.txt").mkdir()
    sending.at("06:30", "send", "nightly-list", code=7)
    look(sending, "06:30")
    found = sending.clocked.at("06:30", "watch", "--status", "--json", code=1).document
    (part,) = re.findall(r"## `watch --status`\n(.*?)\n## ", PAGE, re.DOTALL)
    handed = {*found["undelivered"][0]}
    assert keys(found) | handed == set(re.findall(r"`([a-z_]+)`", part))
    assert handed == {*found["newest"][1]}
    assert (found["watching"], found["looked"]) == (True, "2040-01-15T06:30:00Z")
    (waiting,) = found["undelivered"]
    assert (waiting["sent"], waiting["tries"], waiting["next_try"]) == (
        None, 1, "2040-01-15T06:31:00Z",
    )  # fmt: skip
    done = found["newest"][1]
    assert (done["sent"], done["next_try"]) == ("2040-01-15T06:10:00Z", None)


def test_status_of_no_book_cannot_be_told(tmp_path: Path) -> None:
    assert run("--db", tmp_path / "no.db", "watch", "--status").code == 6


def test_a_watcher_prints_no_document(small: str) -> None:
    said = run("--db", small, "watch", "--json")
    assert (said.code, said.err) == (2, "--json: a watcher prints nothing; add --status\n")


def test_a_watcher_says_of_what_nobody_is_told(
    small: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Daemon, "run", lambda _: None)
    file = tmp_path / "notices.toml"
    file.write_text(NOTICES + 'areas = ["North"]\n')
    said = run("--db", small, "watch", "--notices", file)
    assert said.code == 0
    told = re.findall(r"level=WARNING event=nobody-is-told (.*)", said.err)
    assert [one for one in told if "area=''" not in one] == ["kind=gate-failed area='South'"]
    kinds = {one.split()[0].removeprefix("kind=") for one in told if "area=''" in one}
    assert kinds == {*Kind} - {Kind.GATE_FAILED, Kind.NIGHTLY_LIST}
