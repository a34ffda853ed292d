"""The standards the code is held to: lint, format, strict types, the arrows between packages."""

import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
BIN = Path(sys.executable).parent

COMMANDS = {
    "ruff check": [BIN / "ruff", "check", "--no-cache", "."],
    "ruff format": [BIN / "ruff", "format", "--no-cache", "--check", "."],
    "mypy --strict": [BIN / "mypy"],
    "import-linter": [BIN / "lint-imports", "--no-cache"],
}


@pytest.mark.parametrize("name", COMMANDS)
def test_holds(name: str) -> None:
    done = subprocess.run(COMMANDS[name], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr


def _tracked_texts() -> list[tuple[Path, str]]:
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True
    )
    paths = [ROOT / name for name in listed.stdout.split("\0") if name]
    return [(p, p.read_text("utf-8")) for p in paths if p.is_file() and p.suffix != ".png"]


def test_no_file_names_a_registry_or_a_path_of_some_machine() -> None:
    # Spelt in pieces, so that this file does not find itself.
    forbidden = re.compile(
        "|".join(["pypi" + r"\.org", "python" + "hosted", "/ro" + "ot/", "/wo" + "rk/"])
    )
    found = [
        f"{path.relative_to(ROOT)}: {match.group()}"
        for path, text in _tracked_texts()
        for match in forbidden.finditer(text)
    ]
    assert found == []


def test_the_locks_pin_every_dependency_by_hash() -> None:
    for lock in ("requirements.lock", "requirements-test.lock"):
        text = (ROOT / lock).read_text("utf-8")
        pins = re.findall(r"^([a-z0-9-]+)==", text, flags=re.MULTILINE)
        assert len(pins) > 20
        assert text.count("--hash=sha256:") >= len(pins)
