"""How the page is served: kinds, versions, caching, packing, and the fences around it."""

import gzip
import json
import re
from pathlib import Path

import httpx
import pytest

from noonframe.api.app import create_app
from noonframe.api.phone import KINDS, load_page, page_folder, takes_gzip
from noonframe.settings import Settings

FIRST_VIEW_BYTES = 100 * 1024
REACH = re.compile(r"https?://|//[a-z0-9.-]+\.[a-z]{2,}/", re.IGNORECASE)


@pytest.fixture(scope="module")
def folder():
    found = page_folder(None)
    assert found is not None
    return found


@pytest.fixture
def ask(tmp_path):
    def asking(method, path, settings=None, **headers):
        import asyncio

        app = create_app(settings or Settings(state_dir=tmp_path))

        async def once():
            transport = httpx.ASGITransport(app=app)
            async with httpx.AsyncClient(transport=transport, base_url="http://localhost") as client:
                given = {name.replace("_", "-"): value for name, value in headers.items()}
                return await client.request(method, path, headers=given)

        return asyncio.run(once())

    return asking


def test_the_page_is_at_the_root_with_its_fences(ask):
    answer = ask("GET", "/")
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "text/html; charset=utf-8"
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'self';")
    for part in ("object-src 'none'", "base-uri 'none'", "form-action 'none'", "frame-ancestors 'none'"):
        assert part in policy
    assert "unsafe" not in policy
    assert "geolocation=(self)" in answer.headers["permissions-policy"]
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cache-control"] == "no-cache"
    assert "PAGE_VERSION" not in answer.text


def test_every_file_has_its_kind_and_may_be_kept_for_ever(ask, folder):
    page = load_page(folder)
    for name, file in page.files.items():
        if name in ("index.html", "worker.js", "app.webmanifest"):
            continue
        answer = ask("GET", f"/page/{page.version}/{name}")
        assert answer.status_code == 200, name
        assert answer.headers["content-type"] == KINDS[Path(name).suffix]
        assert "immutable" in answer.headers["cache-control"]
        assert answer.content == file.content


def test_the_worker_lists_every_file_of_its_version(ask, folder):
    page = load_page(folder)
    answer = ask("GET", "/worker.js")
    assert answer.headers["content-type"].startswith("text/javascript")
    listed = json.loads(re.search(r"const FILES = (\[.*?\]);", answer.text)[1])
    assert len(listed) == len(page.files) - 3
    assert all(one.startswith(f"page/{page.version}/") for one in listed)
    assert page.version in answer.text
    manifest = json.loads(ask("GET", "/app.webmanifest").text)
    assert {icon["sizes"] for icon in manifest["icons"]} >= {"192x192", "512x512"}
    for icon in manifest["icons"]:
        assert ask("GET", f"/{icon['src']}").status_code == 200


def test_what_is_known_is_not_sent_again_and_what_is_sent_is_packed(ask):
    plain = ask("GET", "/", accept_encoding="identity")
    packed = ask("GET", "/", accept_encoding="gzip")
    assert "content-encoding" not in plain.headers
    assert packed.headers["content-encoding"] == "gzip"
    assert plain.text == packed.text
    for tag in (plain.headers["etag"], packed.headers["etag"], f'"other", {plain.headers["etag"]}'):
        again = ask("GET", "/", if_none_match=tag)
        assert again.status_code == 304
        assert again.content == b""
    assert ask("GET", "/", if_none_match='"other"').status_code == 200
    assert ask("HEAD", "/").status_code == 200


@pytest.mark.parametrize(
    ("header", "allowed"),
    [
        ("gzip, br", True),
        ("br", False),
        ("gzip;q=0", False),
        ("*", True),
        ("", False),
        ("x-gzip", True),
        ("identity, gzip;q=0.3", True),
    ],
)
def test_packing_is_done_only_for_those_who_take_it(header, allowed):
    assert takes_gzip(header) is allowed


@pytest.mark.parametrize(
    "path",
    [
        "/page/0/js/main.js",
        "/page/{v}/js/none.js",
        "/page/{v}/../worker.js",
        "/page/{v}/index.html",
        "/page/{v}/%2e%2e/settings.py",
        "/page/{v}/",
    ],
)
def test_another_version_or_another_file_is_a_problem(ask, folder, path):
    answer = ask("GET", path.format(v=load_page(folder).version))
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_page_of_ones_own_is_served_from_its_folder(ask, tmp_path):
    own = tmp_path / "page"
    own.mkdir()
    (own / "index.html").write_text("<p>PAGE_VERSION", encoding="utf-8")
    (own / "secret.py").write_text("x", encoding="utf-8")
    answer = ask("GET", "/", settings=Settings(state_dir=tmp_path, page_dir=own))
    assert answer.text == f"<p>{load_page(own).version}"
    assert (
        ask(
            "GET",
            f"/page/{load_page(own).version}/secret.py",
            settings=Settings(state_dir=tmp_path, page_dir=own),
        ).status_code
        == 404
    )


def test_an_installation_without_the_page_says_so(ask, tmp_path):
    (tmp_path / "empty").mkdir()
    answer = ask("GET", "/", settings=Settings(state_dir=tmp_path, page_dir=tmp_path / "empty"))
    assert answer.status_code == 404
    assert "not part of this installation" in answer.json()["detail"]


def test_the_first_view_is_small(folder):
    page = load_page(folder)
    first = [
        "index.html",
        *re.findall(r'(?:href|src)="page/[^/"]+/([^"]+)"', page.files["index.html"].content.decode()),
    ]
    first += [
        "js/screens/now.js",
        "js/chart.js",
        "js/pickers.js",
        "js/sheet.js",
        "js/glyphs.js",
        "js/app.js",
        "js/alarm.js",
        "js/awake.js",
        "js/stream.js",
    ]
    sizes = {name: len(page.files[name].packed or page.files[name].content) for name in first}
    assert sum(sizes.values()) < FIRST_VIEW_BYTES


def test_the_page_reaches_for_nothing_outside_and_writes_no_markup(folder):
    for path in folder.rglob("*"):
        if path.suffix not in (".js", ".css", ".html"):
            continue
        text = path.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not REACH.search(text), path
        for word in (
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
            "new Function",
            " style=",
            "onclick=",
        ):
            assert word not in text or (word == "onclick=" and path.suffix == ".js"), f"{path}: {word}"


def test_every_text_is_used_and_every_key_has_its_text(folder):
    source = "\n".join(path.read_text(encoding="utf-8") for path in (folder / "js").rglob("*.js"))
    english = (folder / "texts" / "en.js").read_text(encoding="utf-8")
    keys = set(re.findall(r'^  "?([\w.-]+)"?: ', english, re.MULTILINE))
    asked = set(re.findall(r'\bt\(\s*"([^"]+)"', source))
    assert asked <= keys, asked - keys
    patterns = [re.escape(one).replace(r"\$\{", "${") for one in re.findall(r"\bt\(\s*`([^`]+)`", source)]
    loose = [re.compile(re.sub(r"\$\{[^}]*\}", "[\\\\w.-]+", one)) for one in patterns]
    quoted = set(re.findall(r'"([\w.-]+)"', source))
    unused = {key for key in keys if key not in quoted and not any(one.fullmatch(key) for one in loose)}
    assert unused == set()


def test_the_tones_and_icons_are_those_their_builders_make(folder, tmp_path, checkout):
    import runpy

    builder = runpy.run_path(str(checkout / "clients" / "phone" / "builders" / "build_tones.py"))
    target = tmp_path / "tones.css"
    builder["main"].__globals__["TARGET"] = target
    builder["main"]()
    assert target.read_text(encoding="utf-8") == (folder / "css" / "tones.css").read_text(encoding="utf-8")
    icons = runpy.run_path(str(checkout / "clients" / "phone" / "builders" / "build_icons.py"))
    assert icons["svg"]() == (folder / "icons" / "mark.svg").read_text(encoding="utf-8")


def test_packed_files_unpack_to_themselves(folder):
    for file in load_page(folder).files.values():
        if file.packed is not None:
            assert gzip.decompress(file.packed) == file.content
