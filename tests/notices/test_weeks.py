"""Ten days of watching on a real book, over the change of the clocks: every list once a day, every
lapse told once and in time, nothing twice, whatever the watcher was woken for."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from checkwatch.answers.notice.kinds import Kind
from checkwatch.core.instant import HOUR, MINUTE, Instant, parse_instant
from checkwatch.run.watcher.tick import Watcher
from checkwatch.run.watcher.writing import Wrote
from checkwatch.store.outbox import Numbered
from tests.build import ZONE, t
from tests.notices.weeks import PLAN, Looked, days

START = t("2026-03-24T12:00")


@pytest.fixture(scope="module")
def looked(tmp_path_factory: pytest.TempPathFactory) -> list[Looked]:
    url = str(tmp_path_factory.mktemp("weeks") / "book.db")
    return list(days(url, Watcher(url, PLAN, "one", START), START, 10))


def told(looked: list[Looked], kind: Kind) -> list[tuple[Instant, Wrote, Numbered]]:
    return [
        (at, wrote, one)
        for at, ticked in looked
        for wrote in ticked.wrote
        for one in wrote.notices
        if one.notice.kind is kind
    ]


@pytest.mark.parametrize(
    ("kind", "time"), [(Kind.NIGHTLY_LIST, "05:30"), (Kind.TOMORROWS_RISKS, "15:30")]
)
def test_each_list_comes_once_a_day_at_its_local_time(
    looked: list[Looked], kind: Kind, time: str
) -> None:
    # The clocks went forward on Sunday 29 March 2026 (Directive 2000/84/EC, article 2; London
    # keeps the same days, SI 2002/262).
    found = told(looked, kind)
    first = date(2026, 3, 24 if time > "12:00" else 25)
    expected = [f"{first + timedelta(days=n)} {time}" for n in range(10)]
    assert [one.notice.occasion for _, _, one in found] == expected
    assert [at for at, *_ in found] == [
        parse_instant(occasion.replace(" ", "T"), ZONE) for occasion in expected
    ]


def test_each_lapse_is_told_once_about_an_hour_before(looked: list[Looked]) -> None:
    found = told(looked, Kind.LAPSE_SOON)
    keys = [one.notice.key for *_, one in found]
    assert len(keys) == len(set(keys)) > 100
    for at, _, one in found:
        until = parse_instant(one.notice.occasion.split()[1], ZONE)
        assert HOUR <= until - at <= HOUR + 15 * MINUTE


def test_lapses_of_a_round_come_in_few_messages(looked: list[Looked]) -> None:
    """Twelve theatres that were checked one after the other are no reason for twelve messages."""
    lapses = told(looked, Kind.LAPSE_SOON)
    messages = {wrote.number for _, wrote, _ in lapses}
    assert len(messages) * 5 < len(lapses)


def test_the_watcher_looks_seldom_where_nothing_happens(looked: list[Looked]) -> None:
    assert len(looked) < 10 * 24
