"""What is printed: blank cards that say what to do, and labels; never where a machine stands."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from checkwatch.answers.desk.slip import OUTCOMES, WORDS
from checkwatch.core.instant import BEGINNING
from checkwatch.core.person import People, Person
from checkwatch.core.rulebook import Check, Measure, Step
from checkwatch.core.versions import Version
from checkwatch.errors import WrongUse
from checkwatch.views.cards import Card, cards
from checkwatch.views.labels import Label, Part, of_codes, of_machines, sheet
from checkwatch.views.words import Here
from tests.build import ZONE, ask, book, check, enrolled, rules, t
from tests.cli.line import run

HERE = Here(ZONE, t("15:20"))

LEAK = Measure("leak", "mL/min", required=True, limited_above=200, believable=(0, 2000))
HOLD = Measure("hold", "s", fail_below=20)

LEAK_TEST = check(
    "leak-test",
    measures={"leak": LEAK, "hold": HOLD},
    cautions=("No patient may be connected.",),
    steps=(
        Step("Open the cylinder.", caution="No oil near oxygen.", put_back="Cylinder shut"),
        Step("Read the leak.", measure="leak", remedy="Wipe the seal."),
    ),
)


class Texts(HTMLParser):
    """The texts and tags of a page, read by the standard library."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.texts: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(page)

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))


def page(*wanted: Check) -> str:
    rulebook = rules(*wanted)
    version = Version(t("2026-03-02T08:00"), 3, BEGINNING, rulebook)
    return cards((Card(one, rulebook.taking[one.code]) for one in wanted), version, HERE, "")


def text(html: str) -> str:
    return " ".join(" ".join(Texts(html.split("</style>")[1]).texts).split())


def test_a_card_says_all_that_is_to_be_done_and_noted() -> None:
    said = text(page(LEAK_TEST))
    for words in (
        "Leak test leak-test, for: anaesthetic machine",
        "Caution: No patient may be connected.",
        "Caution: No oil near oxygen. Open the cylinder. If no: fail.",
        "Read the leak. If no, try first: Wipe the seal. Still no: fail. leak",
        "leak (needed) at step 2, in mL/min limited above 200; not believable outside 0 to 2000",
        "Put right before the machine is left Cylinder shut",
        "What the leak test came to pass limited fail stopped",
        "Type it in with checkwatch desk --typing-in",
        "in force since Mon 2 Mar 2026 08:00 GMT (entry 3). Printed Thu 12 Mar 2026 15:20 GMT",
    ):
        assert words in said, words
    for line in ("Machine (its tag)", "Date", "Begun at", "Ended at", "Who (code)"):
        assert line in said


RUN = check(
    "run-test",
    minutes=(3, 1, 5),
    steps=(
        Step("Read the hold.", after_run=True, put_back="Lid shut"),
        Step("Open the lid.", put_back="Lid shut"),
        Step("Turn the vaporiser.", may_skip=True),
    ),
)


def test_a_card_has_the_steps_in_the_order_of_the_steps_and_the_run_between_them() -> None:
    said = text(page(RUN))
    wanted = [f"2 {RUN.steps[1].say}", "Turn the vaporiser", "Stay for its first 1 min; then it"]
    wanted += ["The run began at", "It was over at", f"1 {RUN.steps[0].say}"]
    assert [said.index(one) for one in wanted] == sorted(said.index(one) for one in wanted)
    assert "for about 5 min. It is over when the machine says so, not by the clock" in said
    assert "runs by itself" not in text(page(replace(LEAK_TEST, minutes=None)))


def test_what_may_be_skipped_has_a_box_with_its_reason_and_nothing_else_has() -> None:
    assert text(page(RUN)).count("not applicable, why") == 1
    assert "not applicable" not in text(page(LEAK_TEST))
    needed = Step("Read the leak.", measure="leak", may_skip=True)
    assert "not applicable" not in text(page(replace(LEAK_TEST, steps=(needed,))))


def test_what_is_put_right_stands_once() -> None:
    assert text(page(RUN)).count("Lid shut") == 1


def test_a_number_that_no_step_reads_has_its_own_line() -> None:
    assert "hold s fail below 20" in text(page(LEAK_TEST)).replace("\xa0", "").replace("  ", " ")


@pytest.mark.parametrize("wanted", [LEAK_TEST, check("look", steps=())])
def test_a_card_never_says_where_a_machine_stands(wanted: Check) -> None:
    assert "cleared" not in page(wanted).lower()


def test_each_card_is_on_a_sheet_of_its_own() -> None:
    html = page(LEAK_TEST, check("look"))
    assert html.count('<section class="card">') == 2
    assert ".card { break-after: page; }" in html


HOSTILE = '<script>alert("1")</script>&amp;\x1b[31m\u202e'


def harmless(html: str) -> None:
    found = Texts(html)
    assert not {"script", "img", "link", "iframe", "a"} & {tag for tag, _ in found.tags}
    assert '<script>alert("1")</script>&amp;' in "".join(found.texts)
    assert not re.search("[\x1b\u202e]", html)
    named = [value for _, one in found.tags for value in one.values() if value]
    assert not [value for value in named if "://" in value and "www.w3.org" not in value]
    assert "url(" not in html
    assert "default-src 'none'" in html


def test_what_people_wrote_is_text_of_a_card_and_nothing_else() -> None:
    steps = (Step(HOSTILE, HOSTILE, HOSTILE, remedy=HOSTILE, put_back=HOSTILE),)
    measures = {HOSTILE: Measure(HOSTILE, HOSTILE)}
    harmless(page(check("x", title=HOSTILE, cautions=(HOSTILE,), steps=steps, measures=measures)))


def test_what_people_wrote_is_text_of_a_label_and_nothing_else() -> None:
    harmless(sheet([Part("Machines", (Label(f"cw:m:{HOSTILE}", HOSTILE, HOSTILE),))], "", HERE, ""))


def test_a_machine_has_a_label_with_its_kind_and_place() -> None:
    fleet = book(rules(), enrolled("AM-04")).fleet(ask())
    ((label,),) = (part.labels for part in of_machines(fleet))
    assert label == Label("cw:m:AM-04", "AM-04", "anaesthetic machine, Theatre 4")
    html = sheet(of_machines(fleet), "Suite", HERE, "")
    assert html.count("<svg") == 1
    assert "break-inside: avoid" in html


def test_the_other_sheet_has_a_label_for_all_else_that_the_desk_takes() -> None:
    people = People([Person(code="kd", name="Kim Dale"), Person(code="t4", is_shared=True)])
    parts = of_codes(rules(), people)
    codes = [label.code for part in parts for label in part.labels]
    for code in (*rules().checks, *rules().happenings, *WORDS):
        assert f"cw:w:{code}" in codes
    assert {f"cw:o:{word}" for word in (*OUTCOMES, "stop-use", "limit")} < {*codes}
    assert [code for code in codes if code.startswith("cw:p:")] == ["cw:p:kd"]
    assert "cw:undo" in codes
    assert "Kim" not in sheet(parts, "Suite", HERE, "")


def test_without_its_extra_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "segno", None)
    with pytest.raises(WrongUse, match=r"need segno; install .*pip install 'checkwatch\[labels\]'"):
        sheet([Part("Machines", (Label("cw:m:AM-04", "AM-04", ""),))], "Suite", HERE, "")


def test_invented_books_say_so_on_paper() -> None:
    version = Version(BEGINNING, 1, BEGINNING, replace(rules(), title="EXAMPLE, Suite"))
    assert "EXAMPLE: invented" in cards((), version, HERE, "EXAMPLE: invented")


# The commands


@pytest.fixture
def begun(tmp_path: Path) -> Path:
    from tests.desk.conftest import made

    return made(tmp_path)


def test_labels_are_of_the_machines_that_are_meant(begun: Path) -> None:
    out = begun.with_name("labels.html")
    assert "2 labels written" in run("--db", begun, "labels", "--out", out).out
    run("--db", begun, "labels", "--place", "theatre 2", "--out", out)
    assert [tag in out.read_text() for tag in ("AM-02", "AM-03")] == [True, False]
    assert run("--db", begun, "labels", "--codes", "--kind", "x", "--out", out).code == 2
    assert run("--db", begun, "labels", "--kind", "x", "--out", out).code == 2


def test_cards_are_of_the_checks_that_are_named(begun: Path) -> None:
    out = begun.with_name("cards.html")
    assert "1 card written" in run("--db", begun, "cards", "leak-test", "--out", out).out
    assert "Reserve cylinder shut" in out.read_text()
    said = run("--db", begun, "cards", "leek-test", "--out", out)
    assert (said.code, 'did you mean "leak-test"?' in said.err) == (2, True)


def test_no_page_is_written_over_the_book(begun: Path) -> None:
    for words in (["labels"], ["cards", "leak-test"]):
        assert run("--db", begun, *words, "--out", begun).code == 2
    assert run("--db", begun, "verify").code == 0
