"""Every shipped data file says where it comes from and is the file it says it is."""

import csv
import hashlib
import json
from pathlib import Path

import pytest

DATA = Path(__file__).resolve().parents[1] / "data"
KEYS = {"source", "reference", "licence", "retrieved", "columns", "sha256", "builder", "notes"}
FILES = sorted(
    path for path in DATA.rglob("*") if path.is_file() and not {"builders", "__pycache__"} & set(path.parts)
)
TABLES = [path for path in FILES if path.suffix != ".json"]


def problems_of(path: Path, record: dict) -> list[str]:
    """What is wrong with a data file and its sidecar, in words; an empty list when nothing is."""
    found = [f"lacks {key}" for key in sorted(KEYS - record.keys())]
    found += [f"{key} is empty" for key in ("source", "licence", "retrieved") if not record.get(key)]
    if record.get("sha256") != hashlib.sha256(path.read_bytes()).hexdigest():
        found.append("sha256 is that of another file")
    columns = record.get("columns") or {}
    if not columns:
        found.append("names no columns")
    found += [
        f"column {name} lacks {key}"
        for name, c in columns.items()
        for key in ("unit", "meaning")
        if key not in c
    ]
    if path.suffix == ".csv":
        with path.open(encoding="utf-8-sig", newline="") as stream:
            header = [name.strip() for name in next(csv.reader(stream))]
        found += [f"column {name} is not described" for name in header if name not in columns]
        found += [f"described column {name} is not there" for name in columns if name not in header]
    return found


def test_there_are_data_files():
    assert len(TABLES) > 3


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.name)
def test_a_data_file_is_the_one_its_sidecar_describes(path):
    record = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    assert problems_of(path, record) == []


@pytest.mark.parametrize("path", [p for p in FILES if p.suffix == ".json"], ids=lambda path: path.name)
def test_a_json_file_is_a_sidecar_or_tells_its_own_origin(path):
    record = json.loads(path.read_text(encoding="utf-8"))
    if not any(other.stem == path.stem and other.parent == path.parent for other in TABLES):
        assert record["provenance"]["source"]
        assert record["provenance"]["licence"]


@pytest.mark.parametrize("path", TABLES, ids=lambda path: path.name)
def test_the_builder_a_sidecar_names_is_there(path):
    builder = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))["builder"]
    if builder and builder.split()[0].endswith(".py"):
        name = builder.split()[0]
        assert any((base / name).is_file() for base in (DATA.parent, DATA, DATA / "builders"))


def test_a_changed_or_undescribed_file_would_be_noticed(tmp_path):
    path = tmp_path / "table.csv"
    path.write_text("a_nm,b\n1,2\n", encoding="utf-8")
    record = dict.fromkeys(KEYS, "x") | {
        "columns": {name: {"unit": "nm", "meaning": "x"} for name in ("a_nm", "b")},
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
    }
    assert problems_of(path, record) == []
    del record["columns"]["b"]["unit"]
    assert problems_of(path, record) == ["column b lacks unit"]
    del record["columns"]["b"], record["licence"]
    path.write_text("a_nm,b\n1,3\n", encoding="utf-8")
    assert problems_of(path, record) == [
        "lacks licence",
        "licence is empty",
        "sha256 is that of another file",
        "column b is not described",
    ]


def test_the_city_table_credits_its_source():
    record = json.loads((DATA / "places.json").read_text(encoding="utf-8"))
    assert "GeoNames" in record["source"]
    assert "CC BY 4.0" in record["licence"]
