"""The set-up script and the locks it installs from; CI's own first run is the test of a whole set-up."""

import errno
import importlib.util
import os
import re
import subprocess
import sys
import threading
import time
import tomllib
from pathlib import Path
from types import ModuleType

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]
LOCKS = ("requirements.lock", "requirements-test.lock")
PINNED = re.compile(r"^([a-z0-9.-]+)==(\S+?)(?: ; .+)?(?: \\)?$")


@pytest.fixture
def run() -> ModuleType:
    spec = importlib.util.spec_from_file_location("run_script", CHECKOUT / "run.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture
def root(tmp_path: Path) -> Path:
    folder = tmp_path / "checkout"
    folder.mkdir()
    for name in (*LOCKS, "pyproject.toml"):
        (folder / name).write_text(name, encoding="utf-8")
    return folder


def finished(run: ModuleType, kind: str, env: Path, root: Path) -> None:
    for name in ("python", "noonframe"):
        path = Path(run.bin_path(str(env), name))
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    Path(run.stamp_path(kind, str(env))).write_text(
        run.fingerprint(kind, str(env), str(root)), encoding="ascii"
    )


def pins(name: str) -> dict[str, str]:
    lines = (CHECKOUT / name).read_text(encoding="utf-8").splitlines()
    found = [PINNED.match(line) for line in lines if not line.startswith((" ", "#"))]
    assert all(found), "a line of the lock is not a pin"
    return {match[1]: match[2] for match in found if match}


@pytest.mark.parametrize("version", [(2, 7, 18), (3, 10, 14)])
def test_an_old_python_is_told_what_is_needed(run, version):
    assert "3.11 or newer" in run.version_problem(version, [])
    assert run.version_problem(version, ["python3.13"]).endswith("Try: python3.13 run.py")


@pytest.mark.parametrize("version", [(3, 11, 0), (3, 14, 1), (4, 0, 0)])
def test_a_new_python_is_taken(run, version):
    assert run.version_problem(version, []) is None


def test_a_finished_environment_is_ready_at_once(run, root, tmp_path):
    env = tmp_path / "env"
    assert not run.is_ready("runtime", str(env), str(root))
    finished(run, "runtime", env, root)
    assert run.is_ready("runtime", str(env), str(root))
    assert not run.is_ready("test", str(env), str(root))


@pytest.mark.parametrize("name", ["requirements.lock", "pyproject.toml"])
def test_a_changed_lock_or_project_asks_for_a_new_set_up(run, root, tmp_path, name):
    env = tmp_path / "env"
    finished(run, "runtime", env, root)
    (root / name).write_text("changed", encoding="utf-8")
    assert not run.is_ready("runtime", str(env), str(root))


def test_another_python_or_another_folder_asks_for_a_new_set_up(run, root, monkeypatch):
    before = run.fingerprint("runtime", "env", str(root))
    assert run.fingerprint("runtime", "elsewhere", str(root)) != before
    monkeypatch.setattr(run.sys, "version_info", (3, 99, 0))
    assert run.fingerprint("runtime", "env", str(root)) != before


@pytest.mark.parametrize("lost", ["noonframe", "python"])
def test_an_environment_that_lost_a_program_is_not_ready(run, root, tmp_path, lost):
    env = tmp_path / "env"
    finished(run, "runtime", env, root)
    Path(run.bin_path(str(env), lost)).unlink()
    assert not run.is_ready("runtime", str(env), str(root))


def test_an_interrupted_set_up_is_not_ready_and_starts_from_nothing(run, root, tmp_path, monkeypatch):
    env = tmp_path / "env"
    finished(run, "runtime", env, root)
    (env / run.UNFINISHED).touch()
    (env / "half-installed").mkdir()
    assert not run.is_ready("runtime", str(env), str(root))

    monkeypatch.setattr(run, "ROOT", str(root))
    monkeypatch.setattr(run, "install", lambda env, arguments: None)
    monkeypatch.setattr(run, "make_venv", lambda env: finished(run, "runtime", Path(env), root))
    monkeypatch.setattr(run, "is_ready", lambda kind, env: False)
    run.ensure("test", str(env))
    assert not (env / "half-installed").exists()
    assert not (env / run.UNFINISHED).exists()
    assert (env / "noonframe-ready-test").exists()


def test_a_failed_set_up_leaves_its_mark_for_the_next_run(run, root, tmp_path, monkeypatch):
    def refuse(env, arguments):
        raise run.SetupProblem("no")

    env = tmp_path / "env"
    monkeypatch.setattr(run, "ROOT", str(root))
    monkeypatch.setattr(run, "install", refuse)
    monkeypatch.setattr(run, "make_venv", lambda env: None)
    with pytest.raises(run.SetupProblem):
        run.ensure("runtime", str(env))
    assert (env / run.UNFINISHED).exists()


def test_runs_at_the_same_time_set_up_once(run, root, tmp_path, monkeypatch, capsys):
    env, calls = tmp_path / "env", []

    def slow(env, arguments):
        calls.append(arguments)
        time.sleep(0.3)

    def make(env):
        finished(run, "runtime", Path(env), root)

    ready = run.is_ready
    monkeypatch.setattr(run, "ROOT", str(root))
    monkeypatch.setattr(run, "install", slow)
    monkeypatch.setattr(run, "make_venv", make)
    monkeypatch.setattr(run, "is_ready", lambda kind, env: ready(kind, env, str(root)))
    monkeypatch.setattr(
        run,
        "fingerprint",
        lambda kind, env, root=str(root), original=run.fingerprint: original(kind, env, root),
    )
    runs = [threading.Thread(target=run.ensure, args=("runtime", str(env))) for _ in range(3)]
    for thread in runs:
        thread.start()
    for thread in runs:
        thread.join()
    assert len(calls) == 2  # the lock and the project, once each
    assert run.is_ready("runtime", str(env))
    assert capsys.readouterr().out == ""


def test_a_folder_with_other_files_is_left_alone(run, tmp_path):
    (tmp_path / "letter.txt").write_text("dear", encoding="utf-8")
    with pytest.raises(run.SetupProblem, match="other files"):
        run.ensure("runtime", str(tmp_path))
    assert (tmp_path / "letter.txt").exists()


def test_the_folder_named_in_the_environment_comes_first(run, root, tmp_path, monkeypatch):
    monkeypatch.setenv("NOONFRAME_ENV_DIR", str(tmp_path / "named"))
    assert run.env_folder(str(root)) == str(tmp_path / "named")


def test_a_read_only_checkout_uses_the_users_cache(run, root, tmp_path, monkeypatch):
    assert run.env_folder(str(root)) == str(root / ".venv")
    monkeypatch.setattr(run.os, "access", lambda path, mode: False)
    monkeypatch.setattr(run, "user_cache", lambda: str(tmp_path / "cache"))
    first = run.env_folder(str(root))
    assert Path(first).parent == tmp_path / "cache" / "noonframe"
    assert run.env_folder(str(tmp_path)) != first


@pytest.mark.parametrize(
    ("output", "says"),
    [
        ("NewConnectionError: x\nERROR: No matching distribution found for numpy==1", "needs the internet"),
        ("ERROR: [Errno 28] No space left on device", "disk is full"),
        ("ERROR: THESE PACKAGES DO NOT MATCH THE HASHES FROM THE REQUIREMENTS FILE.", "differs"),
        ("ERROR: something else", "something else"),
    ],
)
def test_a_failed_installation_says_why(run, output, says):
    assert says in run.install_problem(output)


@pytest.mark.parametrize(
    ("number", "says"),
    [(errno.EROFS, "NOONFRAME_ENV_DIR"), (errno.EACCES, "NOONFRAME_ENV_DIR"), (errno.ENOSPC, "Free about")],
)
def test_a_refusal_of_the_system_says_what_helps(run, number, says):
    text = run.os_problem(OSError(number, os.strerror(number), "folder"))
    assert "folder" in text
    assert says in text


def test_a_python_without_venv_is_told_the_package(run, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "ensurepip", None)
    with pytest.raises(run.SetupProblem, match=r"python3\.\d+-venv"):
        run.make_venv(str(tmp_path / "env"))


def test_problems_go_to_standard_error_with_a_failing_code(run, monkeypatch, capsys):
    def refuse(kind, env):
        raise PermissionError(errno.EACCES, "Permission denied", env)

    monkeypatch.setattr(run, "ensure", refuse)
    assert run.main(["light"]) == 1
    streams = capsys.readouterr()
    assert streams.out == ""
    assert "Permission denied" in streams.err


def test_other_words_reach_the_command_unchanged(run, monkeypatch):
    handed = []
    monkeypatch.setattr(run, "ensure", lambda kind, env: handed.append(kind))
    monkeypatch.setattr(run, "hand_over", lambda command: handed.append(command) or 7)
    assert run.main(["say", "--help", "a b", "test"]) == 7
    assert handed[0] == "runtime"
    assert handed[1][1:] == ["say", "--help", "a b", "test"]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["test", "-x"], ["-m", "pytest", "-x"]),
        (["bench", "--markdown"], [str(Path("tests", "bench", "run.py")), "--markdown"]),
    ],
)
def test_the_projects_own_words_run_with_the_test_packages(run, monkeypatch, words, expected):
    handed = []
    monkeypatch.chdir(CHECKOUT)
    monkeypatch.setattr(run, "ensure", lambda kind, env: handed.append(kind))
    monkeypatch.setattr(run, "hand_over", lambda command: handed.append(command[1:]) or 0)
    assert run.main(words) == 0
    assert handed == ["test", expected]


def test_the_exit_code_is_the_commands():
    code = f"import run; run.hand_over([{sys.executable!r}, '-c', 'import sys; sys.exit(5)'])"
    assert subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, check=False).returncode == 5


def test_a_start_imports_next_to_nothing():
    code = "import sys; before = set(sys.modules); import run; print(*sorted(set(sys.modules) - before))"
    printed = subprocess.run(
        [sys.executable, "-c", code], cwd=CHECKOUT, check=True, capture_output=True, text=True
    )
    assert not {"subprocess", "venv", "shutil", "tempfile", "typing", "re"} & set(printed.stdout.split())


@pytest.mark.parametrize("name", LOCKS)
def test_a_lock_pins_everything_by_hash_and_names_no_address(name):
    text = (CHECKOUT / name).read_text(encoding="utf-8")
    assert not re.search(r"://|--(extra-)?index|--find-links|--trusted|@ file|pypi|mirror|\.org|\.com", text)
    for block in re.split(r"\n(?=\S)", text.strip()):
        assert "--hash=sha256:" in block, block.splitlines()[0]
    assert pins(name)


def test_the_test_lock_is_the_runtime_lock_and_more():
    runtime, test = pins(LOCKS[0]), pins(LOCKS[1])
    assert runtime.items() <= test.items()
    assert "pytest" in test
    assert "pytest" not in runtime


def test_the_locks_hold_what_the_project_asks_for():
    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))
    extras = project["project"]["optional-dependencies"]

    def names(requirements: list[str]) -> set[str]:
        return {re.split(r"[<>=!~;\[ ]", text)[0].lower().replace("_", "-") for text in requirements}

    runtime = names(project["project"]["dependencies"] + project["build-system"]["requires"])
    assert runtime <= pins(LOCKS[0]).keys()
    assert names(extras["test"]) <= pins(LOCKS[1]).keys()
    assert "uvloop" not in pins(LOCKS[1])  # it does not exist for Windows


@pytest.mark.skipif(os.name == "nt", reason="Windows keeps no such mark on files")
def test_the_check_can_be_started():
    assert os.access(CHECKOUT / ".ci" / "run", os.X_OK)
    assert subprocess.run(["bash", "-n", CHECKOUT / ".ci" / "run"], check=False).returncode == 0
