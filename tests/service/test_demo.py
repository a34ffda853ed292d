"""The demo: one command that makes a shop, serves it, checks assemblies and a cart, and stops."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from rules.carts import CartReport
from rules.catalogue import catalogue
from rules.picture import pressure_line_svg
from rules.report import Report
from seed_data import demo_assemblies, demo_carts, demo_components, demo_vehicles
from service.demo import DRAWN, SHOWN
from tests.service.fixtures_demo import environment
from tests.service.test_cli import DRAWN as LINE_SIGNS
from tests.service.test_cli import ESCAPE

COMMAND = [sys.executable, "-m", "service.cli", "demo", "--output"]


def processes_on(directory: Path) -> list[str]:
    """Processes whose environment names a database in a directory."""
    found = []
    for process in Path("/proc").glob("[0-9]*/environ"):
        try:
            if str(directory).encode() in process.read_bytes():
                found.append(process.parent.name)
        except OSError:
            continue
    return found


@pytest.mark.skipif(not Path("/proc/self/environ").exists(), reason="reads /proc")
def test_reports_and_nothing_left_running(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, str(tmp_path)],
        capture_output=True,
        encoding="utf-8",
        env=environment(),
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    assert ESCAPE not in done.stdout
    assert not LINE_SIGNS.search(done.stdout)
    assert [line for line in done.stdout.splitlines() if line != line.rstrip()] == []
    by_slug = {shown.slug: shown for shown in demo_assemblies()}
    for slug in SHOWN:
        report = Report.model_validate_json((tmp_path / f"{slug}.json").read_bytes())
        assert report.verdict == by_slug[slug].expect.verdict
        assert by_slug[slug].title in done.stdout
    for cart in demo_carts():
        told = CartReport.model_validate_json((tmp_path / f"{cart.slug}.json").read_bytes())
        assert told.verdict == cart.expect.verdict
        assert cart.title in done.stdout
        assert all(f"add 1 x {sku}" in done.stdout for sku in cart.expect.missing)
    assert "With the first of each added it fits." in done.stdout
    assert "FITS   " in done.stdout
    assert done.stdout.count("DOES NOT FIT") == 3
    assert "flare-screwed-into-o-ring-port" in done.stdout
    assert "material-unsuitable-for-fuel" in done.stdout
    assert processes_on(tmp_path) == []


def test_requests_and_a_picture_are_left(tmp_path: Path) -> None:
    done = subprocess.run(
        [*COMMAND, "."],
        capture_output=True,
        encoding="utf-8",
        env=environment(),
        cwd=tmp_path,
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    by_slug = {shown.slug: shown for shown in demo_assemblies()}
    bodies = {slug: by_slug[slug].body for slug in SHOWN}
    bodies |= {cart.slug: cart.body for cart in demo_carts()}
    for slug, body in bodies.items():
        request = json.loads((tmp_path / f"{slug}.request.json").read_bytes())
        assert request == body
    assert f"The pressure line is drawn in {DRAWN}.svg" in done.stdout.splitlines()
    shop = catalogue(1, demo_components(), demo_vehicles())
    picture = (tmp_path / f"{DRAWN}.svg").read_text(encoding="utf-8")
    assert picture == pressure_line_svg(by_slug[DRAWN].request, shop)


def test_runs_again_in_the_same_place(tmp_path: Path) -> None:
    first, second = (
        subprocess.run(
            [*COMMAND, str(tmp_path)],
            capture_output=True,
            encoding="utf-8",
            env=environment(),
            timeout=120,
            check=False,
        )
        for _ in range(2)
    )
    assert (first.returncode, second.returncode) == (0, 0)
    reports = [
        run.stdout.partition("Checked over HTTP")[2].partition("\n")[2] for run in (first, second)
    ]
    assert reports[0] == reports[1]


@pytest.mark.parametrize("told", [signal.SIGINT, signal.SIGTERM])
def test_kept_up_until_told_to_stop(tmp_path: Path, told: signal.Signals) -> None:
    process = subprocess.Popen(
        [*COMMAND, str(tmp_path), "--keep"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=environment(),
    )
    assert process.stdout
    assert process.stderr
    try:
        line = next(line for line in process.stdout if "The API's pages:" in line)
        page = line.split()[-1]
        assert httpx.get(page).status_code == 200
        process.send_signal(told)
        assert process.wait(30) == 0
        assert process.stderr.read() == ""
        with pytest.raises(httpx.ConnectError):
            httpx.get(page)
    finally:
        process.kill()
        process.wait()


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is read-only to root")
def test_place_that_cannot_be_written(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    done = subprocess.run(
        [*COMMAND, str(tmp_path / "inside")],
        capture_output=True,
        encoding="utf-8",
        env=environment(),
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "cannot be written" in done.stderr


def test_place_that_is_a_file(tmp_path: Path) -> None:
    place = tmp_path / "output"
    place.write_text(json.dumps("not a directory"), encoding="utf-8")
    done = subprocess.run(
        [*COMMAND, str(place)],
        capture_output=True,
        encoding="utf-8",
        env=environment(),
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
    assert "Traceback" not in done.stderr
