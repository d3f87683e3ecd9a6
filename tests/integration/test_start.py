"""The way in: what start does when all is ready, when it is not, and when it is broken off."""

from __future__ import annotations

import importlib.util
import os
import shutil
import signal
import stat
import subprocess
import sys
import time
import urllib.request
from pathlib import Path
from types import ModuleType

import pytest

from serving import serving

ROOT = Path(__file__).resolve().parents[2]
PARTS = (
    "start",
    "check",
    "scripts",
    "requirements.lock",
    "requirements-dev.lock",
    "pyproject.toml",
)


def executable(path: Path, text: str) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    path.chmod(path.stat().st_mode | stat.S_IXUSR)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """The start-up files alone, in a folder with a space in its name."""
    here = tmp_path / "must wright"
    here.mkdir()
    for part in PARTS:
        source = ROOT / part
        if source.is_dir():
            shutil.copytree(source, here / part, ignore=shutil.ignore_patterns("__pycache__"))
        else:
            shutil.copy(source, here / part)
    return here


@pytest.fixture
def setup(copy: Path) -> ModuleType:
    """The copy's set-up module."""
    spec = importlib.util.spec_from_file_location("setup_of_copy", copy / "scripts/setup.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def pretend_ready(setup: ModuleType, copy: Path) -> None:
    """A .venv whose command only tells how it was called, stamped by the real stamping."""
    executable(copy / ".venv/bin/python", "#!/bin/sh\necho Python 3.11.99\n")
    executable(copy / ".venv/bin/mustwright", '#!/bin/sh\npwd\nprintf "<%s>" "$@"\n')
    (copy / ".venv/ready-run").write_bytes(setup.stamp(copy, "run"))


def start(copy: Path, *arguments: str, **more) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [copy / "start", *arguments], capture_output=True, text=True, timeout=600, **more
    )


def path_with(folder: Path, python3: str) -> dict[str, str]:
    """An environment in which `python3` is the given script and no other Python is found."""
    executable(folder / "python3", python3)
    for tool in ("sh", "dirname", "cat", "cmp", "readlink"):
        found = shutil.which(tool)
        assert found is not None
        (folder / tool).symlink_to(found)
    return os.environ | {"PATH": str(folder)}


def test_when_ready_start_only_hands_over(setup, copy, tmp_path):
    pretend_ready(setup, copy)
    shown = start(copy, "plan", "my sheet.toml", "--json", cwd=tmp_path)
    assert shown.stdout == f"{tmp_path}\n<plan><my sheet.toml><--json>"
    assert (shown.returncode, shown.stderr) == (0, "")


def test_start_alone_serves_and_works_through_a_link(setup, copy, tmp_path):
    pretend_ready(setup, copy)
    (tmp_path / "mw").symlink_to(copy / "start")
    shown = subprocess.run([tmp_path / "mw"], capture_output=True, text=True, cwd=tmp_path)
    assert shown.stdout == f"{tmp_path}\n<serve>"


@pytest.mark.parametrize("changed", ["requirements.lock", "pyproject.toml", ".venv/bin/python"])
def test_a_change_of_lock_project_or_python_is_noticed(setup, copy, tmp_path, changed):
    pretend_ready(setup, copy)
    with (copy / changed).open("a") as file:
        file.write("# changed\n" if changed != ".venv/bin/python" else "echo another\n")
    environment = path_with(tmp_path / "path", "#!/bin/sh\ncase $1 in -c) exit 0;; esac\nexit 3\n")
    shown = start(copy, "version", env=environment)
    assert (shown.returncode, shown.stdout) == (1, "")


def test_a_moved_folder_is_noticed(setup, copy, tmp_path):
    pretend_ready(setup, copy)
    moved = copy.rename(tmp_path / "moved")
    environment = path_with(tmp_path / "path", "#!/bin/sh\ncase $1 in -c) exit 0;; esac\nexit 3\n")
    assert start(moved, "version", env=environment).returncode == 1


def test_a_python_that_is_too_old_is_named(copy, tmp_path):
    environment = path_with(
        tmp_path / "path", "#!/bin/sh\ncase $1 in -V) echo Python 3.9.2; exit 0;; esac\nexit 1\n"
    )
    shown = start(copy, "version", env=environment)
    assert (shown.returncode, shown.stdout) == (1, "")
    assert "needs Python 3.11 or newer" in shown.stderr
    assert "found Python 3.9.2" in shown.stderr


@pytest.fixture
def steps(setup, monkeypatch, copy):
    """The set-up steps with nothing installed: each is noted, and may break off."""
    noted: list[str] = []

    def note(*command: str) -> None:
        step = next(word for word in ("venv", "-r", "-e", "compileall") if word in command)
        noted.append(step)
        if step == "venv":
            executable(copy / ".venv/bin/python", "#!/bin/sh\necho Python 3.11.99\n")
        if step == note.break_off_at:
            raise KeyboardInterrupt

    note.break_off_at = ""
    monkeypatch.setattr(setup, "run", note)
    monkeypatch.setattr(setup, "answers", lambda *_: True)
    return noted, note


@pytest.mark.parametrize("broken", ["venv", "-r", "-e", "compileall"])
def test_broken_off_at_any_step_is_not_ready_and_begins_anew(setup, copy, steps, broken):
    noted, note = steps
    note.break_off_at = broken
    with pytest.raises(KeyboardInterrupt):
        setup.main("run", copy)
    assert not setup.is_ready(copy, "run")
    left_over = copy / ".venv/left-over"
    left_over.touch()
    note.break_off_at = ""
    noted.clear()
    setup.main("run", copy)
    assert noted == ["venv", "-r", "-e", "compileall"]
    assert not left_over.exists()
    assert setup.is_ready(copy, "run")
    assert not setup.is_ready(copy, "dev")


def test_set_up_when_ready_does_nothing(setup, copy, steps):
    noted, _ = steps
    setup.main("dev", copy)
    noted.clear()
    setup.main("dev", copy)
    setup.main("run", copy)
    assert noted == []


def test_a_new_lock_is_installed_into_the_same_environment(setup, copy, steps):
    noted, _ = steps
    setup.main("run", copy)
    (copy / "requirements.lock").write_text("# another\n")
    noted.clear()
    setup.main("run", copy)
    assert noted == ["-r", "-e", "compileall"]


@pytest.mark.usefixtures("steps")
def test_without_ensurepip_and_pip_the_missing_package_is_named(setup, copy, monkeypatch):
    monkeypatch.setattr(setup, "answers", lambda *_: False)
    monkeypatch.setattr(sys, "executable", shutil.which("false"))
    with pytest.raises(setup.SetupError, match="python3-venv"):
        setup.main("run", copy)


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """Every file of the project that git knows, without .venv."""
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().rstrip("\0").split("\0"):
        (tmp_path / "clone" / name).parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(ROOT / name, tmp_path / "clone" / name)
    return tmp_path / "clone"


@pytest.mark.fresh
def test_from_nothing(clone, tmp_path):
    """Broken off, then two at once, then ready: the whole way with a real installation."""
    broken = subprocess.Popen([clone / "start", "version"], start_new_session=True)
    time.sleep(4)
    os.killpg(broken.pid, signal.SIGKILL)
    assert broken.wait() == -signal.SIGKILL
    assert list((clone / ".venv").glob("ready-*")) == []

    both = [
        subprocess.Popen(
            [clone / "start", "version", "--json"],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for _ in range(2)
    ]  # fmt: skip
    shown = [process.communicate(timeout=600) for process in both]
    assert [process.returncode for process in both] == [0, 0]
    assert [out.startswith('{"version"') and out.count("\n") == 1 for out, _ in shown] == [True] * 2
    assert sum("ready after" in err for _, err in shown) == 1
    assert sum("waiting" in err for _, err in shown) == 1

    again = start(clone, "version", cwd=tmp_path)
    assert again.stdout.startswith("mustwright ")
    assert again.stderr == ""
    with (
        serving(tmp_path / "home", command=(str(clone / "start"),)) as address,
        urllib.request.urlopen(address, timeout=30) as answer,
    ):
        assert answer.status == 200
