"""The rooms import each other in one direction only, and the clients see only the service's front door."""

import ast
from pathlib import Path

import pytest

CHECKOUT = Path(__file__).resolve().parents[1]
SERVICE = CHECKOUT / "service" / "noonframe"
CLIENTS = CHECKOUT / "clients"

HELPERS = {"errors", "types", "datafiles", "settings", "places"}
ROW = ("sun", "sky", "spot", "stack", "dose", "bench")
MAY_IMPORT = {room: set(ROW[:index]) for index, room in enumerate(ROW)}
MAY_IMPORT["lamp"] = {"sun", "sky", "spot", "stack"}  # the same spectral light from another source
MAY_IMPORT["dose"] |= {"lamp"}
MAY_IMPORT["negative"] = {"sun", "sky", "spot", "stack"}  # pictures and film; the bench gives it curves
MAY_IMPORT["bench"] |= {"lamp", "negative"}
MAY_IMPORT["weather"] = {"sun", "sky"}  # providers fill the shapes that the sky defines
# the store keeps what the rooms define; they know it as protocols only
MAY_IMPORT["store"] = {*ROW, "lamp", "negative", "weather"}
MAY_IMPORT["api"] = {*ROW, "lamp", "negative", "weather", "store"}

FRONT_DOOR = {
    *(("noonframe.api.upkeep", name) for name in ("StudioCopied", "back_up", "check_copy", "restore")),
    ("noonframe.api.demo", "Demo"),
    ("noonframe.api.demo", "open_demo"),
    ("noonframe", "__version__"),
    ("noonframe.api", "create_app"),
    ("noonframe.api.app", "create_app"),
}


def imported(source: str, module: str, is_package: bool) -> set[tuple[str, str]]:
    """Every (module, name) that `source` imports, wherever it stands; name is "" for a whole module."""
    found: set[tuple[str, str]] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            found |= {(alias.name, "") for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.split(".")
                kept = parts[: len(parts) - node.level + (1 if is_package else 0)]
                base = ".".join([*kept, base] if base else kept)
            found |= {(base, alias.name) for alias in node.names}
        elif isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            if called in {"import_module", "__import__"}:
                found.add((str(node.args[0].value), ""))
    return {(base, name) for base, name in found if base.split(".")[0] == "noonframe"}


def room_of(base: str, name: str) -> str:
    """The room or helper an import reaches; "" for the package itself."""
    parts = base.split(".")
    if len(parts) > 1:
        return parts[1]
    return name if name in HELPERS | MAY_IMPORT.keys() else ""


def service_faults(source: str, module: str, is_package: bool = False) -> list[str]:
    """Imports in a module of the service that go against the arrow."""
    parts = module.split(".")
    own = parts[1] if len(parts) > 1 else ""
    if own and own not in HELPERS | MAY_IMPORT.keys():
        return [f"{module} is in no known room"]
    allowed = HELPERS | {own, ""} | MAY_IMPORT.get(own, set())
    return sorted(
        f"{module} imports {base} {name}".rstrip()
        for base, name in imported(source, module, is_package)
        if room_of(base, name) not in allowed
    )


def client_faults(source: str, module: str) -> list[str]:
    """Imports in a client that reach past the service's front door."""
    return sorted(
        f"{module} imports {base} {name}".rstrip()
        for base, name in imported(source, module, is_package=False)
        if (base, name) not in FRONT_DOOR
        and base != "noonframe.settings"
        and (base, name) != ("noonframe", "settings")
    )


def module_name(path: Path, root: Path) -> str:
    parts = list(path.relative_to(root).with_suffix("").parts)
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


SERVICE_FILES = sorted(SERVICE.rglob("*.py"))
CLIENT_FILES = sorted(CLIENTS.rglob("*.py"))


@pytest.mark.parametrize("path", SERVICE_FILES, ids=lambda path: module_name(path, SERVICE.parent))
def test_a_room_imports_only_what_lies_before_it(path):
    module = module_name(path, SERVICE.parent)
    assert service_faults(path.read_text(encoding="utf-8"), module, path.name == "__init__.py") == []


@pytest.mark.parametrize("path", CLIENT_FILES, ids=lambda path: module_name(path, CLIENTS))
def test_a_client_uses_only_the_front_door(path):
    assert client_faults(path.read_text(encoding="utf-8"), module_name(path, CLIENTS)) == []


def test_there_is_something_to_check():
    assert len(SERVICE_FILES) > 10
    assert CLIENT_FILES


def test_the_table_of_rooms_has_no_circle():
    left = {room: set(needs) for room, needs in MAY_IMPORT.items()}
    while left:
        free = {room for room, needs in left.items() if not needs & left.keys()}
        assert free, f"a circle among {sorted(left)}"
        left = {room: needs for room, needs in left.items() if room not in free}


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("noonframe.sun.position", "import noonframe.sky.transfer"),
        ("noonframe.sky.transfer", "from noonframe.spot import window"),
        ("noonframe.sky.transfer", "from noonframe import stack"),
        ("noonframe.stack.light", "from ..dose import slots"),
        ("noonframe.dose.slots", "def late():\n    from noonframe.weather.forecast import fetch"),
        ("noonframe.bench.strip", "import importlib\nimportlib.import_module('noonframe.store.tables')"),
        ("noonframe.stack.light", "from noonframe.lamp.tube import light"),
        ("noonframe.store.tables", "from noonframe.api.app import create_app"),
        ("noonframe.errors", "from noonframe.sun import position"),
        ("noonframe.attic.things", "import json"),
    ],
)
def test_an_import_against_the_arrow_would_be_noticed(module, source):
    assert service_faults(source, module)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        (
            "noonframe.dose.slots",
            "from noonframe.sun.position import x\nfrom . import integrate\nimport json",
        ),
        ("noonframe.api.app", "from noonframe import __version__\nfrom noonframe.store.tables import x"),
        ("noonframe.stack.light", "from ..spot.plane import x\nfrom noonframe.errors import OutOfDomain"),
    ],
)
def test_an_import_along_the_arrow_is_allowed(module, source):
    assert service_faults(source, module) == []


@pytest.mark.parametrize(
    ("source", "fault"),
    [
        ("from noonframe.api.app import create_app\nfrom noonframe.settings import load_settings", False),
        ("from noonframe import __version__", False),
        ("from noonframe.dose.slots import find", True),
        ("from noonframe.api.inputs import Place", True),
        ("import noonframe.sun", True),
        ("from noonframe import places", True),
    ],
)
def test_a_client_is_kept_at_the_front_door(source, fault):
    assert bool(client_faults(source, "noonframe_terminal.main")) is fault
