"""The command as a process: what it prints where, how fast, and what it imports."""

from __future__ import annotations

import http.client
import json
import subprocess
import sys
import time
import urllib.request
from contextlib import closing
from pathlib import Path

import pytest

from mustwright.cli.main import COMMANDS
from mustwright.compose import Compose
from serving import COMMAND, serving

HEAVY = ("numpy", "scipy", "numba", "fastapi", "sqlalchemy", "jinja2", "alembic", "uvicorn")


def mustwright(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*COMMAND, *arguments], capture_output=True, text=True, timeout=60)


def test_the_overview_names_every_command():
    shown = mustwright("--help")
    assert (shown.returncode, shown.stderr) == (0, "")
    assert [name for name in COMMANDS if f"\n  {name} " not in shown.stdout] == []
    assert mustwright().stdout == shown.stdout


def test_the_overview_imports_nothing_heavy():
    code = "import sys, mustwright.cli.main as m; m.run(['--help']); print(*sys.modules)"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    modules = shown.stdout.splitlines()[-1].split()
    assert "click" in modules
    assert [name for name in HEAVY if name in modules] == []
    ours = {m.removeprefix("mustwright.cli.") for m in modules if m.startswith("mustwright.cli.")}
    assert ours == {"main", "language", "speech", "spoken_help", "usage_words"}  # and no command


def test_a_wrong_option_is_one_line_on_stderr_and_exit_2():
    shown = mustwright("version", "--sideways")
    assert (shown.returncode, shown.stdout) == (2, "")
    assert shown.stderr == "mustwright: No such option '--sideways'.\n"


def test_with_json_stdout_is_json_alone():
    shown = mustwright("version", "--sideways", "--json")
    assert shown.returncode == 2
    assert json.loads(shown.stdout)["error"]["field"] == "--sideways"
    assert json.loads(mustwright("version", "--json").stdout)["version"]


def test_a_reader_that_goes_away_is_no_error():
    piped = subprocess.run(
        ["sh", "-c", '"$@" --help | true', "sh", *COMMAND], capture_output=True, text=True
    )
    assert piped.stderr == ""


def test_serve_answers_seeds_once_and_closes_on_ctrl_c(tmp_path: Path):
    for _ in range(2):
        with serving(tmp_path, "--port", "0") as address:
            assert address.startswith("http://127.0.0.1:")
            with urllib.request.urlopen(f"{address}/health", timeout=10) as answer:
                assert json.load(answer)["status"] == "ok"
            with urllib.request.urlopen(address, timeout=10) as answer:
                assert "Dry lane mead" in answer.read().decode()
        compose = Compose(tmp_path)
        slugs = [sheet.key for sheet in compose.cellar.records("sheet")]
        compose.close()
        assert slugs == ["dry-lane-mead", "hedgerow-berry", "midwinter-sweet"]


def test_an_empty_cellar_can_stay_empty(tmp_path: Path):
    with serving(tmp_path, "--port", "0", "--no-seed"):
        pass
    compose = Compose(tmp_path)
    assert compose.cellar.records("sheet") == []
    compose.close()


def test_ctrl_c_is_heeded_while_the_forecast_is_still_being_compiled(tmp_path: Path, monkeypatch):
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "nothing_compiled_yet"))
    with serving(tmp_path, "--port", "0") as address:
        with urllib.request.urlopen(f"{address}/health", timeout=20) as answer:
            assert json.load(answer)["forecast"] == "compiling"
        began = time.monotonic()
    assert time.monotonic() - began < 5


def test_an_open_connection_does_not_keep_serve_from_closing(tmp_path: Path):
    with serving(tmp_path, "--port", "0") as address:
        caller = http.client.HTTPConnection(address.removeprefix("http://"), timeout=10)
        with closing(caller):
            caller.request("GET", "/health")
            assert caller.getresponse().read()
            began = time.monotonic()
    assert time.monotonic() - began < 5


@pytest.mark.parametrize("home", ["", "/dev/null/home"])
def test_a_data_folder_that_cannot_be_made_is_one_line(home, monkeypatch):
    monkeypatch.setenv("MUSTWRIGHT_HOME", home)
    monkeypatch.setenv("XDG_DATA_HOME", "/dev/null/data")
    shown = mustwright("serve", "--port", "0")
    assert shown.returncode == 2
    assert shown.stderr.count("\n") == 1
    assert "cannot be opened" in shown.stderr
