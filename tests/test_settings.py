from pathlib import Path

import pytest
from pydantic import ValidationError

from noonframe.errors import Malformed
from noonframe.settings import Settings, load_settings, user_state_folder


def test_a_run_without_environment_has_the_documented_limits():
    settings = load_settings()
    assert (settings.host, settings.port, settings.spectra_dir) == ("127.0.0.1", 8765, None)
    assert (settings.max_body_bytes, settings.max_light_steps, settings.max_span_days) == (65536, 20000, 366)


def test_the_environment_is_read_and_arguments_come_first(monkeypatch, tmp_path):
    monkeypatch.setenv("NOONFRAME_PORT", "9000")
    monkeypatch.setenv("NOONFRAME_SPECTRA_DIR", str(tmp_path))
    assert load_settings().port == 9000
    assert load_settings(port=9001).port == 9001
    assert load_settings().spectra_dir == tmp_path


def test_an_empty_variable_counts_as_not_set(monkeypatch):
    monkeypatch.setenv("NOONFRAME_PORT", "")
    assert load_settings().port == 8765


def test_settings_do_not_change_once_made(settings):
    with pytest.raises(ValidationError):
        settings.port = 1


@pytest.mark.parametrize(
    ("variable", "value", "says"),
    [
        ("NOONFRAME_PORT", "abc", "integer"),
        ("NOONFRAME_PORT", "65536", "65535"),
        ("NOONFRAME_MAX_BODY_BYTES", "1", "1024"),
        ("NOONFRAME_MAX_LIGHT_STEPS", "0", "1"),
        ("NOONFRAME_MAX_SPAN_DAYS", "nan", "integer"),
        ("NOONFRAME_HOST", "http://x", "host name"),
        ("NOONFRAME_SPECTRA_DIR", "/no/such/folder", "existing folder"),
    ],
)
def test_a_bad_variable_is_named_with_its_value_and_limit(monkeypatch, variable, value, says):
    monkeypatch.setenv(variable, value)
    with pytest.raises(Malformed, match=says) as caught:
        load_settings()
    assert caught.value.field == variable
    assert str(caught.value.value) == value


def test_a_bad_argument_is_named_as_it_was_given():
    with pytest.raises(Malformed) as caught:
        load_settings(prot=9000)
    assert caught.value.field == "prot"


@pytest.mark.parametrize(
    ("platform", "variables", "folder"),
    [
        ("linux", {"XDG_STATE_HOME": "/var/state"}, "/var/state/noonframe"),
        ("linux", {"XDG_STATE_HOME": "not/absolute"}, "/home/printer/.local/state/noonframe"),
        ("linux", {"XDG_STATE_HOME": ""}, "/home/printer/.local/state/noonframe"),
        ("darwin", {}, "/home/printer/Library/Application Support/noonframe"),
        ("win32", {"LOCALAPPDATA": "/local"}, "/local/noonframe"),
        ("win32", {"LOCALAPPDATA": ""}, "/home/printer/AppData/Local/noonframe"),
    ],
)
def test_records_lie_where_the_platform_keeps_them(monkeypatch, platform, variables, folder):
    monkeypatch.setattr("sys.platform", platform)
    monkeypatch.setattr(Path, "home", lambda: Path("/home/printer"))
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    assert user_state_folder() == Path(folder)


def test_making_settings_creates_no_folder(settings):
    assert isinstance(settings, Settings)
    assert not settings.state_dir.exists()


def test_a_home_sign_in_a_folder_is_understood(monkeypatch, tmp_path):
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("USERPROFILE", str(tmp_path))
    assert load_settings(state_dir="~/records").state_dir == tmp_path / "records"


def test_weather_is_off_unless_providers_are_named():
    assert load_settings().weather_providers == ()


def test_providers_are_named_in_their_order(monkeypatch):
    monkeypatch.setenv("NOONFRAME_WEATHER_PROVIDERS", "met-norway, open-meteo")
    monkeypatch.setenv("NOONFRAME_WEATHER_CONTACT", "printer@quayside.example")
    assert load_settings().weather_providers == ("met-norway", "open-meteo")
    assert load_settings(weather_providers=("open-meteo",)).weather_providers == ("open-meteo",)


def test_a_provider_that_demands_a_contact_is_refused_without_one(monkeypatch):
    monkeypatch.setenv("NOONFRAME_WEATHER_PROVIDERS", "open-meteo,met-norway")
    with pytest.raises(Malformed, match="met-norway asks who is calling") as caught:
        load_settings()
    assert caught.value.field == "NOONFRAME_WEATHER_CONTACT"
    monkeypatch.setenv("NOONFRAME_WEATHER_PROVIDERS", "open-meteo")
    assert load_settings().weather_contact is None


@pytest.mark.parametrize(
    ("variable", "value", "says"),
    [
        ("PROVIDERS", "open-meteo,elsewhere", "different names out of"),
        ("PROVIDERS", "open-meteo,open-meteo", "different names out of"),
        ("CONTACT", "me", "5 to 200"),
        ("CONTACT", "a@b.example\r\nHost: x", "plain characters"),
        ("CONTACT", "the-printer", "mail address or a web address"),
        ("OPEN_METEO_URL", "http://api.open-meteo.com", "https"),
        ("OPEN_METEO_URL", "https://user@api.open-meteo.com", "https"),
        ("OPEN_METEO_URL", "https://api.open-meteo.com/?a=b", "without query"),
        ("OPEN_METEO_URL", "https://", "https"),
        ("ENSEMBLE_URL", "file:///etc", "https"),
        ("MET_NORWAY_URL", "http://192.0.2.7:80", "https"),
        ("MET_NORWAY_URL", "http://127.0.0.1:99999", "port"),
        ("ENSEMBLE_MODEL", "a&b=c", "pattern"),
        ("STALE_S", "nan", "86400"),
        ("HOLD_S", "1", "60"),
        ("BUDGET_S", "6.1", "6"),
        ("REQUEST_S", "0", "0.05"),
    ],
)
def test_a_bad_weather_variable_is_named_with_its_limit(monkeypatch, variable, value, says):
    monkeypatch.setenv(f"NOONFRAME_WEATHER_{variable}", value)
    with pytest.raises(Malformed, match=says) as caught:
        load_settings()
    assert caught.value.field == f"NOONFRAME_WEATHER_{variable}"


@pytest.mark.parametrize("address", ["http://127.0.0.1:8080/", "http://localhost", "http://[::1]:9"])
def test_a_weather_service_on_this_machine_needs_no_https(address):
    assert load_settings(weather_open_meteo_url=address).weather_open_meteo_url == address.rstrip("/")


def test_the_weather_key_is_not_shown():
    assert "tide-table" not in repr(load_settings(weather_open_meteo_key="tide-table"))
