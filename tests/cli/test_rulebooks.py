"""Adopting rules and asking which are in force: who adopted them, when and why, what is to come."""

from __future__ import annotations

from pathlib import Path

import pytest
from freezegun import freeze_time

from tests.cli.conftest import RULES
from tests.cli.line import Said, run

#: 13:00 in London, which is an hour ahead of UTC in summer; a Friday.
NOON = "2040-06-01T12:00:00Z"


@pytest.fixture
def versions(tmp_path: Path) -> Path:
    """A folder with the rules in force as v1, and others, v2 and v3, by other titles."""
    (tmp_path / "v1.toml").write_text(RULES, encoding="utf-8")
    for name in ("v2", "v3"):
        text = RULES.replace("Small suite", f"Small suite {name}")
        (tmp_path / f"{name}.toml").write_text(text, encoding="utf-8")
    return tmp_path


def adopt(book: str, rules: Path, *options: str, at: str = NOON) -> Said:
    with freeze_time(at):
        who = ("--by", "ld", "--why", f"{rules.stem} it is")
        return run("--db", book, "rules", "adopt", rules, *who, "--yes", *options)


def shown(book: str, at: str = NOON) -> str:
    """What `rules show` prints, on one line."""
    with freeze_time(at):
        said = run("--db", book, "rules", "show")
    assert (said.code, said.err) == (0, "")
    return " ".join(said.out.split())


TOMORROW = ("--from", "tomorrow 07:00")
V3 = (
    'Still to come: from Sat 2 Jun 07:00 BST, in 18 h, the rules of "Small suite v3" take over; '
    'adopted by ld at 13:00 BST in entry 8: "v3 it is". To have others then, adopt them from the '
    "same instant: checkwatch rules adopt FILE --from 2040-06-02T07:00:00+01:00 --by WHO --why TEXT"
)


def test_rules_that_only_shorten_say_what_would_end_earlier(small: str, versions: Path) -> None:
    with freeze_time(NOON):
        assert run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
    shorter = versions / "v2.toml"
    shorter.write_text(RULES.replace("PT24H", "PT20H"), encoding="utf-8")
    said = flat(adopt(small, shorter, at="2040-06-01T13:00:00Z"))
    assert "No machine would change its standing." in said
    assert "1 machine would stand as before, but until another time: 1 earlier." in said
    assert "full self-test anaesthetic machine 1 " in said
    assert "AM-01 . cleared Sat 2 Jun 13:00 BST Sat 2 Jun 09:00 BST earlier" in said


def flat(said: Said) -> str:
    assert said.code == 0, said.err
    return " ".join(said.out.split())


def test_the_rules_in_force_say_who_adopted_them_when_and_why(small: str, versions: Path) -> None:
    first = shown(small)
    assert first.startswith("In force since ")
    assert "; adopted in entry 1. Small suite Times are those of" in first
    assert adopt(small, versions / "v2.toml", "--from", "14:00").code == 0
    text = shown(small, "2040-06-01T15:00:00Z")
    because = 'adopted by ld at 13:00 BST in entry 8: "v2 it is"'
    assert text.startswith(f"In force since 14:00 BST, 2 h ago; {because}. Small suite v2 Times")
    assert "Still to come" not in text


def test_rules_that_are_still_to_come_are_told_wherever_rules_are_shown_or_adopted(
    small: str, versions: Path
) -> None:
    first = flat(adopt(small, versions / "v3.toml", *TOMORROW))
    assert (first.startswith("In force from Sat 2 Jun 07:00 BST"), first.count(V3)) == (True, 1)
    assert shown(small).endswith(V3)
    # Shown before it asks and after it wrote; what is adopted now lasts until then only.
    now = flat(adopt(small, versions / "v2.toml"))
    assert (now.startswith("In force from 13:00 BST, now."), now.count(V3)) == (True, 2)
    assert shown(small).endswith(V3)
    with freeze_time("2040-06-02T06:00:00Z"):
        assert "Small suite v3" in run("--db", small, "rules", "show").out


def test_what_is_to_come_is_replaced_by_rules_from_the_same_instant(
    small: str, versions: Path
) -> None:
    """The command that is handed over takes it back, also by the very rules in force."""
    adopt(small, versions / "v3.toml", *TOMORROW)
    (line,) = [
        one for one in shown(small).split("checkwatch ")[1:] if one.startswith("rules adopt")
    ]
    start = line.split("--from ")[1].split()[0]
    said = flat(adopt(small, versions / "v1.toml", "--from", start))
    replaced = 'It takes the place of the rules of "Small suite v3" from the same instant, entry 8.'
    assert (replaced in said, 'rules of "Small suite", those in force now, take over' in said) == (
        True,
        True,
    )
    assert V3 not in said
    assert "Small suite v3" not in shown(small)
    after = shown(small, "2040-06-02T06:00:00Z")
    assert "v3" not in after
    assert after.startswith("In force since 07:00 BST, now; adopted by ld on Fri 1 Jun 13:00 BST")


@pytest.mark.parametrize("options", [(), TOMORROW])
def test_the_very_rules_in_force_are_not_adopted_again(
    small: str, versions: Path, options: tuple[str, ...]
) -> None:
    adopt(small, versions / "v2.toml")
    before = entries(small)
    said = adopt(small, versions / "v2.toml", *options, at="2040-06-01T12:30:00Z")
    assert flat(said) == (
        "These very rules are adopted already, in force since 13:00 BST, 30 min ago; adopted by ld "
        'in entry 8: "v2 it is". Nothing was written.'
    )
    assert said.err == ""
    assert entries(small) == before
    spaced = versions / "v2b.toml"
    spaced.write_text((versions / "v2.toml").read_text() + "# a source for the number\n")
    assert "entry 9" in adopt(small, spaced).err, "a text with another word in it is another one"


def test_rules_that_are_to_come_already_are_not_adopted_again(small: str, versions: Path) -> None:
    adopt(small, versions / "v3.toml", *TOMORROW)
    said = flat(adopt(small, versions / "v3.toml", "--from", "2040-06-03T07:00"))
    assert "adopted already, in force from Sat 2 Jun 07:00 BST, in 18 h; adopted by ld at" in said
    assert said.endswith(V3)
    assert "entry 9" in adopt(small, versions / "v3.toml").err, "now is earlier than tomorrow"


def test_before_a_yes_it_is_told_what_else_is_to_come(small: str, versions: Path) -> None:
    adopt(small, versions / "v3.toml", *TOMORROW)
    with freeze_time(NOON):
        words = ("rules", "adopt", versions / "v2.toml", "--by", "ld", "--why", "w")
        said = run("--db", small, *words)
    assert (said.code, "--yes" in said.err) == (2, True)
    assert " ".join(said.out.split()).endswith(V3)


def test_what_leads_towards_use_is_to_be_looked_at_twice(small: str, versions: Path) -> None:
    """A warmer of which nobody asked anything is unknown; with a gate for it, it is not cleared."""
    longer, other = versions / "longer.toml", versions / "other.toml"
    longer.write_text(RULES.replace("PT24H", "PT72H"))
    other.write_text(
        RULES.replace(
            'kinds = ["anaesthetic-machine"]', 'kinds = ["anaesthetic-machine", "patient-warmer"]'
        )
    )
    with freeze_time("2040-05-30T12:00:00Z"):
        assert run("--db", small, "done", "AM-01", "self-test", "pass", "--by", "kd").code == 0
    said = flat(adopt(small, longer))
    assert "1 machine would change standing: 1 towards use. 1 place would" in said
    assert "Look twice at what leads towards use: there the new rules ask for less." in said
    assert "AM-01 ! not cleared . cleared towards use" in said
    said = flat(adopt(small, other, at="2040-06-03T12:00:00Z"))
    assert "1 machine would change standing: 1 not for use either way." in said
    assert "Look twice" not in said
    assert "WM-01 ? unknown ! not cleared not for use either way" in said


def entries(book: str) -> str:
    with freeze_time("2040-07-01T12:00:00Z"):
        return run("--db", book, "verify").out
