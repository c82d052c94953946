"""What the guide to people shows of the example is what the program prints."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from freezegun import freeze_time

from checkwatch.run import clock, demo
from tests.cli.test_one_morning import said
from tests.test_readme import steps

PAGE = Path(__file__).parents[2] / "docs" / "guide" / "people.md"


def test_the_guide_to_people_goes_as_it_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    tried = PAGE.read_text(encoding="utf-8").partition("## Try it at the example")[2]
    (added,) = re.findall(r"```toml\n(.*?)```", tried, re.DOTALL)
    rules = (demo.folder() / "rulebook.toml").read_text(encoding="utf-8")
    (tmp_path / "rulebook.toml").write_text(f"{rules}\n{added}", encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    told = [*steps(tried)]
    assert len(told) == 5
    with freeze_time("2026-11-25T07:00:00Z") as frozen:
        demo.build(str(tmp_path / "book.db"), clock.now())
        for command, shown in told:
            left = said(command, frozen, tmp_path)
            for piece in filter(str.strip, re.split(r"^…$", shown, flags=re.MULTILINE)):
                before, folded, left = left.partition(" ".join(piece.split()))
                assert folded, (command, before)
