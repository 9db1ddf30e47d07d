#!/usr/bin/env python3
"""Set noonframe up beside this file once, then run it:  python3 run.py [any noonframe arguments].

Words of its own, for work on the project:
    python3 run.py test [pytest arguments]     the tests
    python3 run.py lint                        style and types
    python3 run.py check [pytest arguments]    both
    python3 run.py bench [--markdown] [--all]  the speed measurements
    python3 run.py lock                        pin the newest allowed versions again

The environment lies in .venv beside this file, in the folder that NOONFRAME_ENV_DIR names, or, where
this folder cannot be written, in the user's cache.  Needs nothing but Python 3.11 or newer.
"""
# Until the version is checked, this file must also be readable by older Pythons; until set-up is known to be
# needed, it imports next to nothing, because every start pays for it.

from __future__ import annotations

import errno
import hashlib
import io
import os
import sys

OLDEST = (3, 11)
FORMAT = "1"  # raise to make every existing environment be set up anew
ROOT = os.path.dirname(os.path.abspath(__file__))
LOCKS = {"runtime": "requirements.lock", "test": "requirements-test.lock"}
TASKS = ("test", "lint", "check", "bench", "lock")
UNFINISHED = "noonframe-setting-up"  # lies in the environment from the first to the last step of a set-up
MUTEX = "noonframe-set-up.lock"
DIVERTING = {"PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_ROOT", "PIP_CONSTRAINT", "PYTHONPATH", "PYTHONHOME"}
NETWORK_SIGNS = (
    "NewConnectionError",
    "NameResolutionError",
    "Failed to establish a new connection",
    "Temporary failure in name resolution",
    "ConnectTimeout",
    "Read timed out",
    "Network is unreachable",
    "ProxyError",
    "Max retries exceeded",
    "No matching distribution found",
)


class SetupProblem(Exception):
    """Set-up cannot go on; the text says why and what helps."""


def say(text: str) -> None:
    """One calm line; standard output belongs to the answer."""
    sys.stderr.write(f"noonframe: {text}\n")
    sys.stderr.flush()


def version_problem(version: tuple[int, ...], newer: list[str]) -> str | None:
    """What to tell someone whose Python is too old; `newer` are commands for newer ones found."""
    if tuple(version[:2]) >= OLDEST:
        return None
    text = f"needs Python {OLDEST[0]}.{OLDEST[1]} or newer; this is Python {version[0]}.{version[1]}."
    return f"{text} Try: {newer[0]} run.py" if newer else f"{text} Install a newer one and use it for run.py."


def newer_pythons() -> list[str]:
    """Commands on the path whose names promise a new enough Python."""
    import shutil

    names = [f"python3.{minor}" for minor in range(14, OLDEST[1] - 1, -1)]
    return [name for name in names if shutil.which(name)]


def bin_path(env: str, name: str) -> str:
    """A program inside the environment."""
    return os.path.join(env, "Scripts", f"{name}.exe") if os.name == "nt" else os.path.join(env, "bin", name)


def fingerprint(kind: str, env: str, root: str = ROOT) -> str:
    """Changes with whatever the environment was made from: lock, project file, Python, and both folders.

    Of Python only the minor version counts: two installations of the same one may take turns.
    """
    digest = hashlib.sha256()
    for name in (LOCKS[kind], "pyproject.toml"):
        with open(os.path.join(root, name), "rb") as stream:
            digest.update(stream.read() + b"\0")
    for text in (FORMAT, f"{sys.version_info[0]}.{sys.version_info[1]}", root, env):
        digest.update(os.fsencode(text) + b"\0")
    return digest.hexdigest()


def is_ready(kind: str, env: str, root: str = ROOT) -> bool:
    """Whether the environment was set up to the end from exactly these files."""
    if os.path.exists(os.path.join(env, UNFINISHED)):
        return False
    if not all(os.path.exists(bin_path(env, name)) for name in ("python", "noonframe")):
        return False
    try:
        with open(stamp_path(kind, env), encoding="ascii") as stream:
            return stream.read() == fingerprint(kind, env, root)
    except OSError:
        return False


def stamp_path(kind: str, env: str) -> str:
    """Where the fingerprint of a finished set-up is kept."""
    return os.path.join(env, f"noonframe-ready-{kind}")


def user_cache() -> str:
    """The user's cache folder by the platform's custom."""
    home = os.path.expanduser("~")
    if os.name == "nt":
        return os.environ.get("LOCALAPPDATA") or os.path.join(home, "AppData", "Local")
    if sys.platform == "darwin":
        return os.path.join(home, "Library", "Caches")
    named = os.environ.get("XDG_CACHE_HOME", "")
    return named if os.path.isabs(named) else os.path.join(home, ".cache")


def env_folder(root: str = ROOT) -> str:
    """Where the environment is or shall be."""
    named = os.environ.get("NOONFRAME_ENV_DIR")
    if named:
        return os.path.abspath(os.path.expanduser(named))
    beside = os.path.join(root, ".venv")
    if os.access(beside if os.path.isdir(beside) else root, os.W_OK):
        return beside
    if is_ready("runtime", beside, root):
        return beside
    tag = hashlib.sha256(os.fsencode(root)).hexdigest()[:12]
    return os.path.join(user_cache(), "noonframe", f"env-{tag}")


def ensure(kind: str, env: str) -> None:
    """Make the environment ready, once, however many runs ask at the same time."""
    if is_ready(kind, env):
        return
    claim(env)
    with open(os.path.join(env, MUTEX), "a+b") as mutex:
        take(mutex)
        if not is_ready(kind, env):  # another run may have done it while this one waited
            set_up(kind, env)


def claim(env: str) -> None:
    """Create the folder, or make sure that an existing one is an environment and no one's documents."""
    ours = ("pyvenv.cfg", UNFINISHED, MUTEX)
    held = os.listdir(env) if os.path.isdir(env) else []
    if held and not any(name in ours for name in held):
        raise SetupProblem(f"{env} holds other files; name an empty or new folder in NOONFRAME_ENV_DIR.")
    os.makedirs(env, exist_ok=True)


def take(mutex: io.BufferedRandom) -> None:
    """Hold an exclusive lock until the file is closed; the system lets go of it if this process dies."""
    import time

    told = False
    while True:
        try:
            if os.name == "nt":
                import msvcrt

                mutex.seek(0)
                msvcrt.locking(mutex.fileno(), msvcrt.LK_NBLCK, 1)
            else:
                import fcntl

                fcntl.flock(mutex, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return
        except (BlockingIOError, PermissionError):
            if not told:
                say("another set-up is under way; waiting for it.")
                told = True
            time.sleep(0.2)


def set_up(kind: str, env: str) -> None:
    """Create or update the environment from the lock, then stamp it."""
    where = os.path.relpath(env, ROOT) if env.startswith(ROOT + os.sep) else env
    say(f"setting up in {where}, once; this takes a minute or two ...")
    unfinished = os.path.join(env, UNFINISHED)
    if os.path.exists(unfinished) or not made_by_this_python(env):
        empty(env)
    with open(unfinished, "w", encoding="ascii"):
        pass
    for other in LOCKS:
        if os.path.exists(stamp_path(other, env)):
            os.remove(stamp_path(other, env))
    if not made_by_this_python(env):
        make_venv(env)
    install(env, ["--require-hashes", "-r", os.path.join(ROOT, LOCKS[kind])])
    install(env, ["--no-build-isolation", "-e", ROOT])
    done = ("runtime", "test") if kind == "test" else ("runtime",)  # the test lock holds all of the other one
    for part in done:
        with open(stamp_path(part, env), "w", encoding="ascii") as stream:
            stream.write(fingerprint(part, env))
    os.remove(unfinished)
    say("ready.")


def made_by_this_python(env: str) -> bool:
    """Whether the folder holds an environment of the running Python's version that still starts."""
    try:
        with open(os.path.join(env, "pyvenv.cfg"), encoding="utf-8") as stream:
            lines = dict(line.split(" = ", 1) for line in stream.read().splitlines() if " = " in line)
    except (OSError, ValueError):
        return False
    same = lines.get("version", "").split(".")[:2] == [str(part) for part in sys.version_info[:2]]
    return same and os.path.exists(bin_path(env, "python"))


def empty(env: str) -> None:
    """Take everything out of the folder except the lock that this run holds."""
    import shutil

    for name in os.listdir(env):
        path = os.path.join(env, name)
        if os.path.isdir(path) and not os.path.islink(path):
            shutil.rmtree(path)
        elif name != MUTEX:
            os.remove(path)


def make_venv(env: str) -> None:
    """An environment with pip in it."""
    try:
        import ensurepip  # noqa: F401  (some distributions leave it out, and venv then fails obscurely)
        import venv
    except ImportError:
        package = f"python3.{sys.version_info[1]}-venv"
        raise SetupProblem(
            f"this Python lacks venv or ensurepip. On Debian or Ubuntu install {package};"
            " elsewhere use a Python whose standard library is complete."
        ) from None
    import subprocess

    try:
        venv.EnvBuilder(symlinks=os.name != "nt", with_pip=True).create(env)
    except subprocess.CalledProcessError as problem:
        output = (problem.output or b"").decode("utf-8", "replace")
        raise SetupProblem(f"the environment could not be made.\n{tail(output)}") from None


def install(env: str, arguments: list[str]) -> None:
    """Run the environment's pip; the lock is complete, so nothing is resolved."""
    import subprocess

    command = [bin_path(env, "python"), "-m", "pip", "install", "--no-deps", "--no-input", "--quiet"]
    command += ["--disable-pip-version-check", "--progress-bar", "off", *arguments]
    surroundings = {key: value for key, value in os.environ.items() if key not in DIVERTING}
    done = subprocess.run(
        command,
        env=surroundings,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        check=False,
    )
    if done.returncode:
        raise SetupProblem(install_problem(done.stdout.decode("utf-8", "replace")))


def install_problem(output: str) -> str:
    """What pip's complaint means for the person who reads it."""
    if "No space left on device" in output or "not enough space on the disk" in output:
        return f"the disk is full; free about 600 MB and run it again.\n{tail(output)}"
    if "DO NOT MATCH THE HASHES" in output:
        return f"a package differs from the one the lock names, so it was not installed.\n{tail(output)}"
    if any(sign in output for sign in NETWORK_SIGNS):
        return f"the packages could not be fetched; the first run needs the internet.\n{tail(output)}"
    return f"the packages could not be installed.\n{tail(output)}"


def tail(output: str, lines: int = 8) -> str:
    """The end of a program's output, where its reason stands."""
    kept = [line for line in output.splitlines() if line.strip() and "WARNING" not in line]
    return "\n".join(f"  {line}" for line in kept[-lines:])


def hand_over(command: list[str]) -> int:
    """Become `command`; where a process cannot be replaced, wait for it and pass its exit code on."""
    if os.name != "nt":
        os.execv(command[0], command)
    import subprocess

    with subprocess.Popen(command) as child:
        while True:
            try:
                return child.wait()
            except KeyboardInterrupt:  # the child gets it too and decides how to end
                continue


def run_task(task: str, arguments: list[str], env: str) -> int:
    """Run one of the project's own tasks in the checkout."""
    import subprocess

    python = bin_path(env, "python")
    os.chdir(ROOT)
    if task in ("lint", "check"):
        for command in (["ruff", "check", "."], ["mypy"]):
            code = subprocess.run([python, "-m", *command], check=False).returncode
            if code:
                return code
        if task == "lint":
            return 0
    if task == "bench":
        return hand_over([python, os.path.join("tests", "bench", "run.py"), *arguments])
    return hand_over([python, "-m", "pytest", *arguments])


def renew_locks() -> int:
    """Pin the newest versions that pyproject.toml allows, for every platform and Python it supports."""
    import subprocess
    import tempfile

    extras = {"runtime": ["--extra", "build"], "test": ["--extra", "build", "--extra", "test"]}
    universal = (
        f"--universal --python-version {OLDEST[0]}.{OLDEST[1]} --fork-strategy fewest --generate-hashes"
    )
    quiet = "--no-header --no-annotate --no-config --upgrade --quiet"  # and so no address gets in
    os.chdir(ROOT)
    with tempfile.TemporaryDirectory() as folder:
        make_venv(folder)
        install(folder, ["uv"])
        for kind, name in LOCKS.items():
            same = ["--constraint", LOCKS["runtime"]] if kind == "test" else []
            command = [bin_path(folder, "uv"), "pip", "compile", "pyproject.toml", "--output-file", name]
            command += [*extras[kind], *same, *universal.split(), *quiet.split()]
            subprocess.run(command, check=True)
    return 0


def main(arguments: list[str]) -> int:
    """Set up if needed and hand over."""
    problem = version_problem(sys.version_info[:3], newer_pythons() if sys.version_info[:2] < OLDEST else [])
    if problem:
        say(problem)
        return 2
    task = arguments[0] if arguments and arguments[0] in TASKS else None
    try:
        if task == "lock":
            return renew_locks()
        env = env_folder()
        ensure("test" if task else "runtime", env)
        if task:
            return run_task(task, arguments[1:], env)
        return hand_over([bin_path(env, "noonframe"), *arguments])
    except SetupProblem as trouble:
        say(str(trouble))
    except OSError as trouble:
        say(os_problem(trouble))
    except KeyboardInterrupt:
        say("stopped; an unfinished set-up starts again at the next run.")
        return 130
    return 1


def os_problem(trouble: OSError) -> str:
    """What the system's refusal means for the person who reads it."""
    text = (
        f"{trouble.filename}: {trouble.strerror}." if trouble.filename else f"{trouble.strerror or trouble}."
    )
    if trouble.errno in (errno.EROFS, errno.EACCES, errno.EPERM):
        return f"{text} Name a folder that can be written in NOONFRAME_ENV_DIR."
    if trouble.errno == errno.ENOSPC:
        return f"{text} Free about 600 MB and run it again."
    return text


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
