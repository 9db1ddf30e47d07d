"""Where there is no browser the page's tests fail and say what to install; they are never skipped."""

import pytest
from phone import conftest


class _Playwright:
    """Playwright that was installed without its browser."""

    class chromium:
        executable_path = "/nowhere/chromium"

    def __enter__(self):
        return self

    def __exit__(self, *failure):
        return None


def test_without_a_browser_it_fails_and_says_what_to_install(monkeypatch):
    monkeypatch.delenv("PHONE_BROWSER", raising=False)
    monkeypatch.setattr(conftest.shutil, "which", lambda name: None)
    monkeypatch.setattr(conftest, "sync_playwright", _Playwright)
    with pytest.raises(pytest.fail.Exception) as told:
        conftest.browser_path()
    for word in ("apt-get install chromium", "playwright install chromium", "PHONE_BROWSER"):
        assert word in str(told.value)


def test_a_browser_that_is_named_is_the_one_taken(monkeypatch):
    monkeypatch.setenv("PHONE_BROWSER", "/opt/own/chromium")
    assert conftest.browser_path() == "/opt/own/chromium"
