"""What is the same of several machines or places is said once, with the names of all of them."""

from __future__ import annotations

from tests.cli.line import run

KIND = ("--kind", "anaesthetic-machine", "--by", "kd", "--yes")


def flowing(text: str) -> str:
    return " ".join(text.split())


def passed(book: str, *times: str) -> None:
    """A self-test of each machine, each done at a time of yesterday."""
    for tag, time in zip(("AM-01", "AM-02", "AM-03"), times, strict=True):
        words = ("done", tag, "self-test", "pass", "--by", "kd", "--at", f"yesterday {time}")
        assert run(*words, "--db", book).code == 0


def test_one_fault_each_is_told_once_without_the_numbers(small: str) -> None:
    words = ("fault", "stop-use", *KIND, "--note", "hoses recalled", "--db", small)
    for told in (run(*words, "--what-if"), run(*words)):
        text = flowing(told.out)
        assert "AM-01, AM-02 and AM-03: each " in text
        assert text.count("its fault, of ") == 1
        assert "forbids its use (hoses recalled)" in text
        assert "whoever closes its fault: hoses recalled." in text
    assert "Entries 8 to 10 written." in text


def test_limits_that_last_differently_long_are_told_with_the_first_end(small: str) -> None:
    passed(small, "23:57", "23:58", "23:59")
    words = ("fault", "limit", *KIND, "--note", "hoses recalled", "--db", small)
    text = flowing(run(*words).out)
    assert "AM-01, AM-02 and AM-03: each is now limited" in text
    assert ":57 " in text
    assert ", at the earliest (cleared, with 1 limit in force): hoses recalled." in text
    assert ":59 " not in text.split("Theatre 1")[0]


def test_places_that_stand_alike_are_told_of_together(small: str) -> None:
    passed(small, "23:57", "23:58", "23:59")
    text = flowing(run("withdraw", *KIND, "--db", small).out)
    assert "Theatre 1 and Theatre 2: each is now not cleared." in text
    assert "Theatre 1 (" not in text


def test_a_list_refers_to_a_long_text_that_it_has_told(small: str) -> None:
    run("withdraw", *KIND, "--note", "hoses recalled", "--db", small)
    lines = run("which", "--kind", "anaesthetic-machine", "--db", small).out.splitlines()
    assert [line.split("withdrawn")[1].strip() for line in lines if line[:3] == "AM-"] == [
        "whoever returns it to use: hoses",
        "as AM-01",
        "as AM-01",
    ]
    assert [line[:5] for line in lines if "AM-0" in line[:5]] == ["AM-01", "AM-02", "AM-03"]
    # A short one is read sooner than a name is looked up.
    run("return", "AM-03", "--by", "kd", "--db", small)
    run("return", "AM-02", "--by", "kd", "--db", small)
    text = flowing(run("which", "--kind", "anaesthetic-machine", "--db", small).out)
    assert text.count("full self-test: about 4 attended minutes, 4 in all") == 3
