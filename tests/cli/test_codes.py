"""Who writes an entry is a code of one word, at every command and without a people file, too."""

from __future__ import annotations

import pytest

from tests.cli.line import run

COMMANDS = [
    ["done", "AM-01", "self-test", "pass"],
    ["happened", "AM-01", "power-on"],
    ["note", "AM-01", "seen"],
    ["except", "AM-01", "--reason", "x", "--decided", "ms", "--until", "PT1H"],
    ["steps", "AM-01", "self-test"],
    ["enrol", "AM-77", "--kind", "anaesthetic-machine", "--place", "Theatre 1"],
]


@pytest.mark.parametrize("words", COMMANDS, ids=lambda words: words[0])
def test_a_code_with_a_blank_is_refused(small: str, words: list[str]) -> None:
    before = run("--db", small, "export").out
    said = run("--db", small, *words, "--by", "Kim Dale")
    assert (said.code, said.out) == (2, "")
    assert said.err == (
        "--by: the code 'Kim Dale' has a blank; type one word, like initials; "
        "a name belongs in the people file\n"
    )
    assert run("--db", small, "export").out == before


def test_blanks_around_a_code_are_no_part_of_it(small: str) -> None:
    assert run("--db", small, "note", "AM-01", "seen", "--by", " kd ").code == 0
    assert run("--db", small, "log", "AM-01", "--json").document["entries"][-1]["by"] == "kd"
