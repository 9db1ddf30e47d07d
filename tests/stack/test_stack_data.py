"""The shipped spectra: fresh from their builders, and described in full."""

import hashlib
import importlib
import json

import pytest

from noonframe.datafiles import data_folder, read_columns, sidecar

FILES = (
    *("window_glass_samples.csv", "float_glass_absorption.csv", "plastic_sheet_samples.csv"),
    *("covers_from_memory.csv", "sensitizer_action_nodes.csv", "stack_materials.csv", "sensitizers.csv"),
)


@pytest.mark.parametrize("name", FILES)
def test_sidecar_describes_every_column_and_holds_the_hash(name):
    record = sidecar(name)
    assert set(record["columns"]) == set(read_columns(data_folder() / name))
    assert record["sha256"] == hashlib.sha256((data_folder() / name).read_bytes()).hexdigest()
    for key in ("source", "reference", "licence", "retrieved", "notes"):
        assert record[key], key
    for column in record["columns"].values():
        assert column["unit"]
        assert column["meaning"]


@pytest.mark.parametrize(
    ("builder", "function", "name"),
    [
        ("build_stack_materials", "build_materials", "stack_materials"),
        ("build_sensitizers", "build_sensitizers", "sensitizers"),
    ],
)
def test_shipped_file_is_what_its_builder_makes(monkeypatch, builder, function, name):
    folder = data_folder() / "builders"
    if not folder.is_dir():
        pytest.skip("builders are not part of an installation")
    monkeypatch.syspath_prepend(str(folder))
    text, side = getattr(importlib.import_module(builder), function)()
    assert text == (data_folder() / f"{name}.csv").read_text(encoding="utf-8")
    assert side == json.loads((data_folder() / f"{name}.json").read_text(encoding="utf-8"))
