"""What is shipped works away from the checkout: built, installed into a clean environment, run."""

from __future__ import annotations

import os
import subprocess
import sys
import venv
from pathlib import Path

ROOT = Path(__file__).parents[1]
EXAMPLE = ROOT / "examples" / "theatres"


def run(*command: str | Path, cwd: Path) -> str:
    env = {name: value for name, value in os.environ.items() if not name.startswith("CHECKWATCH")}
    env.pop("PYTHONPATH", None)
    done = subprocess.run(command, cwd=cwd, env=env, capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def test_the_wheel_makes_a_book_and_shows_the_demo(tmp_path: Path) -> None:
    run(sys.executable, "-m", "build", "--wheel", "--no-isolation", "-o", tmp_path, ROOT, cwd=ROOT)
    (wheel,) = tmp_path.glob("*.whl")
    clean = tmp_path / "clean"
    venv.create(clean, with_pip=True)
    run(
        clean / "bin" / "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
        wheel,
        cwd=tmp_path,
    )
    checkwatch = clean / "bin" / "checkwatch"
    made = run(
        *(checkwatch, "begin", "--db", "suite.db", "--rules", EXAMPLE / "rulebook.toml"),
        *("--fleet", EXAMPLE / "fleet.csv", "--places", EXAMPLE / "places.csv"),
        cwd=tmp_path,
    )
    assert made.startswith("The book is made: 43 machines in 19 places")
    assert "EXAMPLE" in run(checkwatch, "demo", cwd=tmp_path)
