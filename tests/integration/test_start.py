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
    "requirements-uv.lock",
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
def setup(copy: Path, monkeypatch) -> ModuleType:
    """The copy's set-up module."""
    monkeypatch.syspath_prepend(copy / "scripts")
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


STEPS = ("venv", "uv", "lock", "project")


class Steps:
    """The set-up steps with nothing installed: each is noted, and may fail or be broken off.

    `done` has each step with the program that did it: ``("lock", "uv")``.
    """

    def __init__(self, copy: Path) -> None:
        self.copy = copy
        self.done: list[tuple[str, str]] = []
        self.break_off_at = ""
        self.failing: set[tuple[str, str]] = set()
        self.silent: set[str] = set()
        self.environments: list[dict[str, str] | None] = []
        self.compiled = 0

    def run(self, doing: str, *command: str, env: dict[str, str] | None = None) -> None:
        assert doing
        lock = next((Path(word).name for word in command if word.endswith(".lock")), "")
        if "venv" in command:
            step = "venv"
            executable(self.copy / ".venv/bin/python", "#!/bin/sh\necho Python 3.11.99\n")
        else:
            step = {"requirements-uv.lock": "uv", "": "project"}.get(lock, "lock")
        if step == "lock" or step == "uv":
            assert "--require-hashes" in command
        by = "uv" if command[0] == str(self.copy / ".venv/bin/uv") else "pip"
        self.done.append((step, by if step != "venv" else "venv"))
        self.environments.append(env)
        if step == self.break_off_at:
            raise KeyboardInterrupt
        if self.done[-1] in self.failing:
            import installer

            raise installer.StepError(f"{step} failed")

    def answers(self, *command: str) -> bool:
        return Path(command[0]).name not in self.silent

    def compile_behind(self, here: Path) -> None:
        assert here == self.copy
        self.compiled += 1

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(step for step, _ in self.done)


@pytest.fixture
def steps(setup, monkeypatch, copy) -> Steps:
    """Set-up without a network: see `Steps`."""
    noted = Steps(copy)
    for name in ("run", "answers", "compile_behind"):
        monkeypatch.setattr(setup, name, getattr(noted, name))
    monkeypatch.setattr(sys.modules["installer"], "answers", noted.answers)
    monkeypatch.setattr(sys.modules["installer"], "pip_options", lambda _: {})
    return noted


@pytest.mark.parametrize("broken", STEPS)
def test_broken_off_at_any_step_is_not_ready_and_begins_anew(setup, copy, steps, broken):
    steps.break_off_at = broken
    with pytest.raises(KeyboardInterrupt):
        setup.main("run", copy)
    assert not setup.is_ready(copy, "run")
    assert steps.compiled == 0
    left_over = copy / ".venv/left-over"
    left_over.touch()
    steps.break_off_at = ""
    steps.done.clear()
    setup.main("run", copy)
    assert steps.names == STEPS
    assert steps.compiled == 1
    assert not left_over.exists()
    assert setup.is_ready(copy, "run")
    assert not setup.is_ready(copy, "dev")


def test_set_up_when_ready_does_nothing(setup, copy, steps):
    setup.main("dev", copy)
    steps.done.clear()
    setup.main("dev", copy)
    setup.main("run", copy)
    assert steps.done == []
    assert steps.compiled == 1


def test_a_new_lock_is_installed_into_the_same_environment(setup, copy, steps):
    setup.main("run", copy)
    (copy / "requirements.lock").write_text("# another\n")
    steps.done.clear()
    setup.main("run", copy)
    assert steps.names == STEPS[1:]


@pytest.mark.usefixtures("steps")
def test_without_ensurepip_and_pip_the_missing_package_is_named(setup, copy, monkeypatch):
    monkeypatch.setattr(setup, "answers", lambda *_: False)
    with pytest.raises(setup.SetupError, match="python3-venv"):
        setup.main("run", copy)
    assert not setup.is_ready(copy, "run")


def test_pip_comes_into_the_environment_only_where_this_pythons_cannot_serve_it(
    setup, copy, monkeypatch
):
    asked: list[tuple[str, ...]] = []

    def answers(*command: str) -> bool:
        asked.append(command)
        return "--python" not in command

    monkeypatch.setattr(setup, "answers", answers)
    ran: list[tuple[str, ...]] = []
    monkeypatch.setattr(setup, "run", lambda _, *command: ran.append(command))
    setup.make_venv(copy / ".venv")
    assert [command[1:3] for command in ran] == [("-m", "venv"), ("-m", "ensurepip")]
    assert "--without-pip" in ran[0]
    ran.clear()
    monkeypatch.setattr(setup, "answers", lambda *_: True)
    setup.make_venv(copy / ".venv")
    assert [command[1:3] for command in ran] == [("-m", "venv")]


def test_uv_installs_where_it_can(setup, copy, steps):
    setup.main("run", copy)
    assert steps.done == [("venv", "venv"), ("uv", "pip"), ("lock", "uv"), ("project", "uv")]


def no_wheel(steps: Steps) -> None:
    steps.failing.add(("uv", "pip"))


def no_answer(steps: Steps) -> None:
    steps.silent.add("uv")


@pytest.mark.parametrize("trouble", [no_wheel, no_answer])
def test_where_uv_cannot_run_pip_installs_and_says_so(setup, copy, steps, trouble, capsys):
    trouble(steps)
    setup.main("run", copy)
    assert steps.done == [("venv", "venv"), ("uv", "pip"), ("lock", "pip"), ("project", "pip")]
    assert setup.is_ready(copy, "run")
    assert "going on with pip" in capsys.readouterr().err


def test_where_uv_fails_to_install_pip_does_it_and_the_rest(setup, copy, steps, capsys):
    steps.failing.add(("lock", "uv"))
    setup.main("run", copy)
    assert steps.done[2:] == [("lock", "uv"), ("lock", "pip"), ("project", "pip")]
    assert setup.is_ready(copy, "run")
    assert "lock failed" in capsys.readouterr().err


def test_where_pip_fails_too_nothing_is_ready(setup, copy, steps):
    steps.failing |= {("lock", "uv"), ("lock", "pip")}
    with pytest.raises(sys.modules["installer"].StepError, match="lock failed"):
        setup.main("run", copy)
    assert not setup.is_ready(copy, "run")


def test_a_program_that_hangs_does_not_answer(setup, tmp_path, monkeypatch):
    installer = sys.modules["installer"]
    executable(tmp_path / "uv", "#!/bin/sh\nexec sleep 60\n")
    monkeypatch.setattr(installer, "SECONDS_TO_ANSWER", 0.2)
    assert not setup.answers(str(tmp_path / "uv"), "--version")
    assert not setup.answers(str(tmp_path / "no-such-program"))
    executable(tmp_path / "uv", "#!/bin/sh\nexit 1\n")
    assert not setup.answers(str(tmp_path / "uv"), "--version")
    executable(tmp_path / "uv", "#!/bin/sh\nexit 0\n")
    assert setup.answers(str(tmp_path / "uv"), "--version")


LISTING = """\
:env:.index-url='https://a.example/simple'
:env:.no-index='no'
global.extra-index-url='\\nfile:///one/simple\\nhttps://b.example/simple'
global.find-links='/wheels /more'
global.index-url='https://c.example/simple'
global.proxy='http://proxy.example:3128'
global.timeout='60'
global.trusted-host='a.example b.example'
install.no-index='true'
install.cert='/etc/own.pem'
list.format='json'
not as pip writes it
global.broken=['
"""


@pytest.mark.usefixtures("setup")
def test_uv_is_told_what_pip_is_configured_with():
    installer = sys.modules["installer"]
    told = installer.uv_environment(installer.options_from(LISTING), {"PATH": "/bin"})
    assert told == {
        "PATH": "/bin",
        "UV_DEFAULT_INDEX": "https://a.example/simple",
        "UV_INDEX": "file:///one/simple https://b.example/simple",
        "UV_FIND_LINKS": "/wheels,/more",
        "UV_INSECURE_HOST": "a.example b.example",
        "UV_HTTP_TIMEOUT": "60",
        "UV_INDEX_STRATEGY": "unsafe-best-match",
        "SSL_CERT_FILE": "/etc/own.pem",
        "ALL_PROXY": "http://proxy.example:3128",
    }


@pytest.mark.usefixtures("setup")
def test_what_uv_was_told_by_its_user_stays():
    installer = sys.modules["installer"]
    told = installer.uv_environment(
        installer.options_from(LISTING), {"UV_DEFAULT_INDEX": "mine", "SSL_CERT_FILE": "own"}
    )
    assert (told["UV_DEFAULT_INDEX"], told["SSL_CERT_FILE"]) == ("mine", "own")


def test_pips_configuration_is_read_from_its_files_and_the_environment(
    setup, tmp_path, monkeypatch
):
    installer = sys.modules["installer"]
    (tmp_path / "pip.conf").write_text(
        "[global]\nindex-url = https://a.example/simple\nextra-index-url =\n    file:///one\n"
        "    file:///two\n[install]\ntrusted-host = a.example\n"
    )
    monkeypatch.setenv("PIP_CONFIG_FILE", str(tmp_path / "pip.conf"))
    monkeypatch.setenv("PIP_INDEX_URL", "https://b.example/simple")
    own = Path(sys.base_prefix) / "bin" / f"python{sys.version_info[0]}.{sys.version_info[1]}"
    python = next(p for p in (sys.executable, str(own)) if setup.answers(p, "-m", "pip", "-V"))
    found = installer.pip_options([python, "-m", "pip"])
    assert found["index-url"] == "https://b.example/simple"
    assert found["extra-index-url"].split() == ["file:///one", "file:///two"]
    assert found["trusted-host"] == "a.example"


def test_locks_hold_hashes_and_no_address():
    for lock in ROOT.glob("requirements*.lock"):
        text = lock.read_text(encoding="utf-8")
        assert "://" not in text
        assert "--index" not in text
        assert text.count("==") <= text.count("--hash=sha256:")


def test_the_line_of_progress_is_written_over_on_a_terminal_only(setup, monkeypatch, capfd):
    setup.run("resting", sys.executable, "-c", "pass")
    assert capfd.readouterr().err == "mustwright: resting\n"
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    setup.run("resting", sys.executable, "-c", "import time; time.sleep(0.7)")
    shown = capfd.readouterr().err
    assert shown.startswith("\r\x1b[Kmustwright: resting, 0 s")
    assert shown.endswith("\r\x1b[K")
    assert shown.count("resting") >= 2
    with pytest.raises(setup.SetupError, match="exit code 3"):
        setup.run("failing", sys.executable, "-c", "raise SystemExit(3)")


def test_bytecode_is_compiled_behind(setup, copy):
    (copy / "src").mkdir()
    (copy / "src/module.py").write_text("answer = 42\n")
    (copy / ".venv/bin").mkdir(parents=True)
    (copy / ".venv/bin/python").symlink_to(sys.executable)
    (copy / ".venv/lib").mkdir()
    process = setup.compile_behind(copy)
    assert process.wait(timeout=60) == 0
    assert list(copy.glob("src/__pycache__/module.*.pyc"))


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
    deadline = time.monotonic() + 120
    while not list((clone / ".venv").glob("lib/*/site-packages/numpy")):  # in the midst of the lock
        assert time.monotonic() < deadline
        assert broken.poll() is None
        time.sleep(0.005)
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
