"""The command line: exit codes, pipes, terminals, and a server that stops when it is told to."""

from __future__ import annotations

import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import httpx
import pytest
from typer.testing import CliRunner

from rules.report import Report
from service.cli import cli
from tests.service.fixtures_demo import (
    assembly,
    demo_database,
    environment,
    seeded,
    serving,
)

__all__ = ["demo_database", "seeded"]

FITS = "02-turbo-six-e85"
LEAKS = "07-flare-into-o-ring-port"
UNKNOWN = "34-unmarked-hose"
ESCAPE = "\x1b"
DRAWN = re.compile("[\u2500-\u257f]")


@dataclass(frozen=True)
class Done:
    """How a command ended, and what it wrote."""

    code: int
    out: str
    err: str


def run(*arguments: str, given: str | None = None, **settings: str) -> Done:
    """A command in this process, which is forty times as quick as in its own."""
    ended = CliRunner().invoke(cli, list(arguments), input=given, env=settings)
    assert ended.exception is None or isinstance(ended.exception, SystemExit), ended.exception
    return Done(ended.exit_code, ended.stdout, ended.stderr)


def run_apart(*arguments: str, given: str | None = None, **settings: str) -> Done:
    """A command in a process of its own, with pipes for its streams."""
    ended = subprocess.run(
        [sys.executable, "-m", "service.cli", *arguments],
        input=given,
        capture_output=True,
        encoding="utf-8",
        env=environment(**settings),
        timeout=60,
        check=False,
    )
    return Done(ended.returncode, ended.stdout, ended.stderr)


def written(slug: str) -> str:
    return json.dumps(assembly(slug).body)


class TestCheck:
    @pytest.mark.parametrize(("slug", "code"), [(FITS, 0), (LEAKS, 1), (UNKNOWN, 3)])
    def test_exit_code_is_the_verdict(self, slug: str, code: int) -> None:
        done = run("check", "--demo", "-", given=written(slug))
        assert done.code == code, done.err
        assert done.err == ""

    def test_piped_report_is_plain_lines(self, tmp_path: Path) -> None:
        file = tmp_path / "cart.json"
        file.write_text(written(LEAKS), encoding="utf-8")
        done = run_apart("check", "--demo", str(file))
        assert ESCAPE not in done.out
        assert not DRAWN.search(done.out)
        assert [line for line in done.out.splitlines() if line != line.rstrip()] == []
        assert "DOES NOT FIT   cart.json" in done.out
        assert "tube -x1- rail" in done.out
        assert "1 x HF-ADP-ORB6-JIC6" in done.out
        assert "SAE J1926-1" in done.out
        assert "Fuel burns people" in done.out

    def test_terminal_gets_colour_and_a_drawn_line(self, tmp_path: Path) -> None:
        file = tmp_path / "cart.json"
        file.write_text(written(LEAKS), encoding="utf-8")
        shown = on_a_terminal("check", "--demo", str(file))
        assert ESCAPE in shown
        assert "╳1" in shown
        assert "═══" in shown

    def test_json(self) -> None:
        done = run("check", "--demo", "--json", "-", given=written(LEAKS))
        assert done.code == 1
        assert Report.model_validate_json(done.out).verdict == "does-not-fit"

    def test_letters_beyond_ascii_in_a_plain_locale(self) -> None:
        body = json.loads(written(FITS))
        body["items"][0]["component"] = {"name": "Pumpe für Öl", "kind": "pump"}
        del body["items"][0]["sku"]
        body["joints"] = []
        body["outside"] = []
        done = run_apart("check", "--demo", "--json", "-", given=json.dumps(body), LC_ALL="C")
        assert done.code in (0, 1, 3), done.err
        assert "Traceback" not in done.err

    def test_every_fault_is_told(self) -> None:
        body = json.loads(written(LEAKS))
        body["application"]["boost"] = 1.2
        body["items"][0]["skuu"] = "x"
        done = run("check", "--demo", "-", given=json.dumps(body))
        assert done.code == 2
        assert done.out == ""
        assert "/application/boost: A bare number has no unit." in done.err
        assert "did you mean `sku`?" in done.err

    @pytest.mark.parametrize("given", ["", "{", '{"a": NaN}', "[]", "\ufeff{}"])
    def test_bad_input(self, given: str) -> None:
        done = run("check", "--demo", "--json", "-", given=given)
        assert done.code == 2
        told = json.loads(done.out)
        assert told["type"] == "/v1/problems/invalid-request"
        assert told["errors"]

    def test_unknown_part(self) -> None:
        body = json.loads(written(LEAKS))
        body["items"][0]["sku"] = "HF-PMP-34O"
        done = run("check", "--demo", "-", given=json.dumps(body))
        assert done.code == 2
        assert "`HF-PMP-340`" in done.err

    def test_missing_file(self) -> None:
        done = run("check", "--demo", "no-such-file.json")
        assert done.code == 2
        assert "no-such-file.json" in done.err
        assert "Traceback" not in done.err

    def test_reader_who_leaves(self) -> None:
        """As in `lineworthy check cart.json | head -1`: no traceback, and the code stays true."""
        for extra in ([], ["--json"]):
            process = subprocess.Popen(
                [sys.executable, "-m", "service.cli", "check", "--demo", *extra, "-"],
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.PIPE,
                encoding="utf-8",
                env=environment(),
            )
            assert process.stdin
            assert process.stdout
            assert process.stderr
            process.stdout.close()
            process.stdin.write(written(LEAKS))
            process.stdin.close()
            assert process.stderr.read() == ""
            assert process.wait(60) == 1

    @pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no full device")
    @pytest.mark.parametrize(
        "arguments", [["check", "--demo", LEAKS], ["rules", "list"], ["--help"]]
    )
    @pytest.mark.parametrize("as_json", [False, True])
    def test_output_that_cannot_be_written(self, arguments: list[str], as_json: bool) -> None:
        """The verdict did not arrive, so the exit code is none of a verdict."""
        if as_json and arguments != ["--help"]:
            arguments = [*arguments, "--json"]
        with Path("/dev/full").open("w", encoding="utf-8") as full:
            ended = subprocess.run(
                [sys.executable, "-m", "service.cli", *arguments],
                stdout=full,
                stderr=subprocess.PIPE,
                encoding="utf-8",
                env=environment(),
                timeout=60,
                check=False,
            )
        assert ended.returncode == 2
        [line] = ended.stderr.splitlines()
        assert line == "lineworthy: The output cannot be written: No space left on device."

    def test_directory_of_the_database_that_is_not_there(self, tmp_path: Path) -> None:
        url = f"sqlite:///{tmp_path / 'none' / 'shop.sqlite3'}"
        for arguments in (["migrate"], ["check", "-"]):
            done = run(*arguments, given=written(FITS), LINEWORTHY_DATABASE_URL=url)
            assert done.code == 2
            assert f"The directory `{tmp_path / 'none'}`" in done.err
            assert "does not exist" in done.err

    def test_database_of_the_environment(self, demo_database: str) -> None:
        settings = {"LINEWORTHY_DATABASE_URL": demo_database}
        done = run("check", "--json", "-", given=written(FITS), **settings)
        assert done.code == 0, done.err

    def test_database_without_tables(self, tmp_path: Path) -> None:
        settings = {"LINEWORTHY_DATABASE_URL": f"sqlite:///{tmp_path / 'empty.sqlite3'}"}
        done = run("check", "-", given=written(FITS), **settings)
        assert done.code == 2
        assert "Run `lineworthy migrate`." in done.err


def on_a_terminal(*arguments: str) -> str:
    """What a command writes to a terminal."""
    leader, follower = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "service.cli", *arguments],
        stdin=follower,
        stdout=follower,
        stderr=follower,
        env=environment(TERM="xterm-256color", COLUMNS="100", LC_ALL="C.UTF-8"),
    )
    os.close(follower)
    shown = b""
    try:
        while chunk := os.read(leader, 65536):
            shown += chunk
    except OSError:  # Linux says so when the other end is closed.
        pass
    process.wait(60)
    os.close(leader)
    return shown.decode("utf-8")


class TestUsage:
    @pytest.mark.parametrize(
        "arguments",
        [
            ["check"],
            ["no-such-command"],
            ["check", "--no-such-option", "-"],
            ["serve", "--port", "x"],
        ],
    )
    def test_wrong_usage(self, arguments: list[str]) -> None:
        done = run(*arguments)
        assert done.code == 2
        assert "Usage:" in done.err
        assert not DRAWN.search(done.err)

    def test_help_on_a_pipe(self) -> None:
        done = run_apart("--help")
        assert done.code == 0
        assert not DRAWN.search(done.out)
        for command in ("demo", "serve", "check", "import", "migrate", "rules"):
            assert command in done.out

    def test_wrong_setting(self) -> None:
        done = run("migrate", LINEWORTHY_DATABASE_URL="mysql://x")
        assert done.code == 2
        assert "LINEWORTHY_DATABASE_URL" in done.err
        assert "Traceback" not in done.err


class TestImport:
    @pytest.fixture
    def settings(self, tmp_path: Path) -> dict[str, str]:
        settings = {"LINEWORTHY_DATABASE_URL": f"sqlite:///{tmp_path / 'shop.sqlite3'}"}
        for _ in range(2):  # a second time there is nothing to do
            assert run("migrate", **settings).code == 0
        return settings

    def parts(self, tmp_path: Path, *parts: dict[str, Any]) -> str:
        file = tmp_path / "parts.json"
        file.write_text(json.dumps(parts), encoding="utf-8")
        return str(file)

    def test_dry_run_then_import(self, tmp_path: Path, settings: dict[str, str]) -> None:
        file = self.parts(tmp_path, {"sku": "LW-1", "name": "Cap", "kind": "cap"})
        dry = json.loads(run("import", "--dry-run", "--json", file, **settings).out)
        assert (dry["created"], dry["catalogue_revision"]) == (1, 0)
        done = run("import", file, **settings)
        assert done.code == 0
        assert "1 created" in done.out
        again = run("import", file, **settings)
        assert again.code == 2
        assert "There is a component `LW-1` already." in again.err
        kept = json.loads(run("import", "--mode", "upsert", "--json", file, **settings).out)
        assert (kept["unchanged"], kept["catalogue_revision"]) == (1, 1)

    def test_all_or_nothing(self, tmp_path: Path, settings: dict[str, str]) -> None:
        good = {"sku": "LW-1", "name": "Cap", "kind": "cap"}
        file = self.parts(tmp_path, good, {"sku": "LW-2", "name": "Cap", "kind": "kap"}, {})
        done = run("import", file, **settings)
        assert done.code == 2
        assert "did you mean `cap`?" in done.err
        assert "/2/" in done.err
        fixed = json.loads(run("import", "--json", self.parts(tmp_path, good), **settings).out)
        assert fixed["created"] == 1

    def test_table_from_standard_input(self, settings: dict[str, str]) -> None:
        table = "sku,name,kind\nLW-3,Plug,cap\n0017,Cap,cap\n"
        done = run("import", "--format", "csv", "--json", "-", given=table, **settings)
        assert json.loads(done.out)["created"] == 2
        unnamed = run("import", "-", given=table, **settings)
        assert unnamed.code == 2
        assert "--format" in unnamed.err


class TestRules:
    def test_list_and_show(self) -> None:
        listed = json.loads(run("rules", "list", "--json").out)["rules"]
        plain = run("rules", "list").out
        assert all(rule["id"] in plain for rule in listed)
        shown = json.loads(run("rules", "show", "--json", listed[0]["id"]).out)
        assert shown["examples"]
        assert shown["sources"]
        text = run("rules", "show", listed[0]["id"]).out
        assert shown["when"] in re.sub(r"\s+", " ", text)
        unknown = run("rules", "show", listed[0]["id"] + "x")
        assert unknown.code == 2
        assert listed[0]["id"] in unknown.err

    def test_the_built_in_book(self) -> None:
        counts = {"own_rules": 0, "faults": []}
        for directory in ([], [str(Path(str(files("rules"))) / "book")]):
            done = run("rules", "test", "--json", *directory)
            assert done.code == 0, done.out
            told = json.loads(done.out)
            assert told["rules"] > 100
            assert told["examples"] > told["rules"]
            assert {name: told[name] for name in counts} == counts

    def test_a_misspelt_id_is_answered_with_the_nearest(self) -> None:
        for given in (
            "flare-screwd-into-oring-port",
            "FLARE-SCREWED-INTO-O-RING-PORT",
            "o-ring-port",
        ):
            done = run("rules", "show", given)
            assert done.code == 2
            assert "`flare-screwed-into-o-ring-port`" in re.sub(r"\s+", " ", done.err)

    def test_a_changed_severity_is_printed(self, tmp_path: Path) -> None:
        (tmp_path / "shop.yaml").write_text(
            "overrides:\n  - rule: flare-screwed-into-o-ring-port\n    severity: warning\n"
            "    reason: seen on every car here\n",
            encoding="utf-8",
        )
        settings = {"LINEWORTHY_BOOK_DIRECTORY": str(tmp_path)}
        told = run("check", "--demo", LEAKS, **settings).out
        assert "Severity changed by the shop" in told
        assert "flare-screwed-into-o-ring-port: warning in place of error: seen on every" in told

    def test_book_of_a_shop(self, tmp_path: Path) -> None:
        first = json.loads(run("rules", "list", "--json").out)["rules"][0]
        (tmp_path / "shop.yaml").write_text(
            f"overrides:\n  - rule: {first['id']}\n    off: true\n    reason: not sold here\n",
            encoding="utf-8",
        )
        done = run("rules", "test", str(tmp_path))
        assert done.code == 0, done.out
        settings = {"LINEWORTHY_BOOK_DIRECTORY": str(tmp_path)}
        listed = json.loads(run("rules", "list", "--json", **settings).out)
        assert listed["switched_off"] == [{"rule": first["id"], "reason": "not sold here"}]
        assert first["id"] not in {rule["id"] for rule in listed["rules"]}

    def test_faults_have_a_place_and_a_caret(self, tmp_path: Path) -> None:
        (tmp_path / "shop.yaml").write_text(
            'family: shop\nrules:\n  - id: mine\n    about: joint\n    when: a.sytem == "orb"\n',
            encoding="utf-8",
        )
        done = run("rules", "test", str(tmp_path))
        assert done.code == 2
        place, source, caret = done.out[done.out.index("shop.yaml:5:11") :].splitlines()[:3]
        assert "did you mean" in place
        assert source.find("a.sytem") == caret.find("^^^^^^^")
        faults = json.loads(run("rules", "test", "--json", str(tmp_path)).out)["faults"]
        assert (5, 11) in {(fault["line"], fault["column"]) for fault in faults}


class TestCircuits:
    def own(self, directory: Path, old: str = "", new: str = "") -> Path:
        """A directory with a circuit of the shop's own, preferred to the built-in ones."""
        text = (files("rules.routing") / "circuits" / "returnless.yaml").read_text("utf-8")
        text = text.replace("id: returnless\n", "id: own\n").replace(
            "preference: 50", "preference: 5"
        )
        (directory / "own.yaml").write_text(text.replace(old, new), encoding="utf-8")
        return directory

    def test_list(self) -> None:
        listed = json.loads(run("circuits", "list", "--json").out)["circuits"]
        assert "surge-tank" in {each["id"] for each in listed}
        done = run("circuits", "list")
        assert done.code == 0, done.err
        assert all(each["name"] in done.out for each in listed)

    def test_circuit_of_a_shop(self, tmp_path: Path) -> None:
        done = run("circuits", "test", str(self.own(tmp_path)))
        assert done.code == 0, done.out
        assert "1 of them your own" in done.out
        settings = {"LINEWORTHY_CIRCUIT_DIRECTORY": str(tmp_path)}
        listed = json.loads(run("circuits", "list", "--json", **settings).out)["circuits"]
        assert "own" in {each["id"] for each in listed}
        told = run("check", "--demo", "--json", "01-hatch-pump-and-filter", **settings)
        assert json.loads(told.out)["routing"]["layout"] == "own"

    def test_faults_have_a_place_and_a_caret(self, tmp_path: Path) -> None:
        self.own(tmp_path, "from: filter.out", "from: fliter.out")
        done = run("circuits", "test", str(tmp_path))
        assert done.code == 2
        place, source, caret = done.out[done.out.index("own.yaml:") :].splitlines()[:3]
        assert 'did you mean "filter"' in place
        assert source.find("fliter.out") == caret.find("^^^^^^^^^^")
        faults = json.loads(run("circuits", "test", "--json", str(tmp_path)).out)["faults"]
        assert [fault["message"] for fault in faults]

    def test_a_faulty_circuit_is_told_before_anything_is_served(
        self, tmp_path: Path, demo_database: str
    ) -> None:
        self.own(tmp_path, "kinds: [filter]", "kinds: [fliter]")
        done = run(
            "serve",
            LINEWORTHY_DATABASE_URL=demo_database,
            LINEWORTHY_CIRCUIT_DIRECTORY=str(tmp_path),
        )
        assert done.code == 2
        assert "own.yaml:" in done.err + done.out


class TestServe:
    def test_serves_and_stops(self, demo_database: str) -> None:
        with serving(demo_database) as (process, address):
            with httpx.Client(base_url=address) as client:
                assert client.get("/v1/health/live").json() == {"status": "alive"}
                assert client.get("/v1/health/ready").json()["catalogue_fault"] is None
                answer = client.post("/v1/checks", json=assembly(LEAKS).body)
                assert answer.json()["verdict"] == "does-not-fit"
                assert "server" not in answer.headers
            process.send_signal(signal.SIGTERM)
            assert process.wait(30) == 0
            assert process.stderr
            lines = [json.loads(line) for line in process.stderr.read().splitlines()]
        answered = [line for line in lines if line["message"] == "answered"]
        assert [(line["path"], line["status"]) for line in answered] == [("/v1/checks", 200)]
        assert answered[0]["request_id"] == answer.headers["x-request-id"]

    def test_requests_in_flight_are_answered(self, demo_database: str) -> None:
        statuses: list[int] = []
        body = written(LEAKS).encode()

        def ask(address: str, asked: threading.Event) -> None:
            """Send a body in two pieces, the second after the server was told to stop."""

            def pieces() -> Iterator[bytes]:
                yield body[:100]
                asked.set()
                told.wait(30)
                yield body[100:]

            headers = {"Content-Type": "application/json", "Content-Length": str(len(body))}
            answer = httpx.post(
                f"{address}/v1/checks", content=pieces(), headers=headers, timeout=30
            )
            statuses.append(answer.status_code)

        told = threading.Event()
        with serving(demo_database, "--log-level", "error") as (process, address):
            begun = [threading.Event() for _ in range(4)]
            asking = [threading.Thread(target=ask, args=(address, each)) for each in begun]
            for thread in asking:
                thread.start()
            for each in begun:
                assert each.wait(30)
            process.send_signal(signal.SIGTERM)
            told.set()
            for thread in asking:
                thread.join(30)
            assert process.wait(30) == 0
        assert statuses == [200] * 4

    def test_busy_clients_lose_nothing(self, demo_database: str) -> None:
        """Each asks again as soon as it is answered, until nobody listens any more."""
        answers: list[list[httpx.Response]] = [[] for _ in range(8)]
        ends: list[Exception | None] = [None] * len(answers)

        def ask_on_and_on(address: str, number: int) -> None:
            with httpx.Client(base_url=address, timeout=30) as client:
                try:
                    while True:
                        answers[number].append(client.post("/v1/checks", json=assembly(LEAKS).body))
                except Exception as error:
                    ends[number] = error

        with serving(demo_database, "--log-level", "error") as (process, address):
            asking = [
                threading.Thread(target=ask_on_and_on, args=(address, number))
                for number in range(len(answers))
            ]
            for thread in asking:
                thread.start()
            while any(len(each) < 3 for each in answers):
                time.sleep(0.05)
            process.send_signal(signal.SIGTERM)
            for thread in asking:
                thread.join(30)
            assert process.wait(30) == 0
        # A connection that is refused never took a request; any other error lost one.
        assert [type(end) for end in ends] == [httpx.ConnectError] * len(ends)
        assert {answer.status_code for each in answers for answer in each} == {200}
        assert [each[-1].headers.get("Connection") for each in answers] == ["close"] * len(answers)

    def test_idle_connections_do_not_hold_it_up(self, demo_database: str) -> None:
        with serving(demo_database) as (process, address), httpx.Client(base_url=address) as client:
            assert client.get("/v1/health/live").status_code == 200
            begun = time.monotonic()
            process.send_signal(signal.SIGTERM)
            assert process.wait(30) == 0
            assert time.monotonic() - begun < 10

    def test_body_over_the_limit_on_the_wire(self, demo_database: str) -> None:
        def chunks() -> Iterator[bytes]:
            for _ in range(20):
                yield b" " * 1_000_000

        with (
            serving(demo_database, "--log-level", "error") as (_, address),
            httpx.Client(base_url=address, timeout=30) as client,
        ):
            json_type = {"Content-Type": "application/json"}
            for content in (b" " * 20_000_000, chunks()):
                answer = client.post("/v1/checks", content=content, headers=json_type)
                assert answer.status_code == 413
                assert answer.headers["content-type"] == "application/problem+json"
            assert client.get("/v1/health/live").status_code == 200

    def test_refuses_a_database_without_tables(self, tmp_path: Path) -> None:
        settings = {"LINEWORTHY_DATABASE_URL": f"sqlite:///{tmp_path / 'empty.sqlite3'}"}
        done = run_apart("serve", "--port", "0", **settings)
        assert done.code == 2
        assert "Run `lineworthy migrate`." in done.err
        assert "Traceback" not in done.err

    def test_refuses_a_faulty_book(self, seeded: Path, tmp_path: Path) -> None:
        database = tmp_path / "shop.sqlite3"
        shutil.copy(seeded, database)
        book = tmp_path / "book"
        book.mkdir()
        (book / "shop.yaml").write_text("family: shop\nrule: []\n", encoding="utf-8")
        done = run_apart(
            "serve",
            "--port",
            "0",
            LINEWORTHY_DATABASE_URL=f"sqlite:///{database}",
            LINEWORTHY_BOOK_DIRECTORY=str(book),
        )
        assert done.code == 2
        assert "shop.yaml:2:1" in done.err
        assert "Traceback" not in done.err
