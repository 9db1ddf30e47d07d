"""The phone page at `/`: its files, read once, compressed once, under an address that names their version.

`/` is asked for again each time; everything else lies under `/page/VERSION/`, where VERSION is a hash over
all files, so that it may be kept for ever and files of two versions never meet.
"""

import gzip
import hashlib
import json
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from fastapi import APIRouter, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from noonframe.api.routes.common import settings_of

router = APIRouter(include_in_schema=False)

KINDS = {
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
    ".webmanifest": "application/manifest+json",
}
_PACKED = {".png"}
_VERSION_MARK, _FILES_MARK = "PAGE_VERSION", '"PAGE_FILES"'
_AT_THE_ROOT = ("index.html", "worker.js", "app.webmanifest")
_FOR_EVER = "public, max-age=31536000, immutable"

PAGE_HEADERS = {
    # the page loads nothing from anywhere else; pictures of plans come as blobs from its own requests
    "Content-Security-Policy": (
        "default-src 'self'; img-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'none';"
        " frame-ancestors 'none'"
    ),
    "Permissions-Policy": (
        "geolocation=(self), screen-wake-lock=(self), accelerometer=(self), gyroscope=(self),"
        " magnetometer=(self), camera=(), microphone=(), payment=(), usb=()"
    ),
    "Cross-Origin-Resource-Policy": "same-origin",
}


@dataclass(frozen=True)
class PageFile:
    """One file of the page as it is sent; `packed` is its gzip, None where that gains nothing."""

    content: bytes
    packed: bytes | None
    kind: str
    etag: str


@dataclass(frozen=True)
class Page:
    """All files of the page by their path, under one version."""

    version: str
    files: dict[str, PageFile]


def page_folder(given: Path | None) -> Path | None:
    """Folder of the page: as given, in the installed package, or in the checkout; None for nowhere."""
    package = Path(__file__).resolve().parents[1]
    usual = (package / "_page", package.parents[1] / "clients" / "phone" / "page")
    folders = usual if given is None else (given,)
    return next((folder for folder in folders if (folder / "index.html").is_file()), None)


@cache
def load_page(folder: Path) -> Page:
    """The page as its folder has it; kept, so that a file changed later needs a new start."""
    raw = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.suffix in KINDS and path.is_file()
    }
    digest = hashlib.sha256()
    for name, content in raw.items():
        digest.update(f"{name}\0{len(content)}\0".encode() + content)
    version = digest.hexdigest()[:12]
    listed = json.dumps([f"page/{version}/{name}" for name in raw if name not in _AT_THE_ROOT])
    for name in _AT_THE_ROOT:
        if name in raw:
            text = raw[name].decode().replace(_FILES_MARK, listed).replace(_VERSION_MARK, version)
            raw[name] = text.encode()
    return Page(version, {name: _file(name, content) for name, content in raw.items()})


def _file(name: str, content: bytes) -> PageFile:
    suffix = Path(name).suffix
    packed = None if suffix in _PACKED else gzip.compress(content, 9, mtime=0)
    if packed is not None and len(packed) >= len(content):
        packed = None
    return PageFile(content, packed, KINDS[suffix], f'"{hashlib.sha256(content).hexdigest()[:20]}"')


def takes_gzip(accept_encoding: str) -> bool:
    """Whether an Accept-Encoding header allows gzip (RFC 9110, 12.5.3)."""
    allowed: dict[str, bool] = {}
    for item in accept_encoding.lower().split(","):
        coding, *parameters = (part.strip() for part in item.split(";"))
        weight = next((one[2:] for one in parameters if one.startswith("q=")), "1")
        allowed[coding] = weight.strip("0.") != ""
    return allowed.get("gzip", allowed.get("x-gzip", allowed.get("*", False)))


def _send(request: Request, file: PageFile, caching: str) -> Response:
    headers = {**PAGE_HEADERS, "ETag": file.etag, "Cache-Control": caching, "Vary": "Accept-Encoding"}
    known = [one.strip().removeprefix("W/") for one in request.headers.get("if-none-match", "").split(",")]
    if file.etag in known or "*" in known:
        return Response(status_code=304, headers=headers)
    content = file.content
    if file.packed is not None and takes_gzip(request.headers.get("accept-encoding", "")):
        content, headers["Content-Encoding"] = file.packed, "gzip"
        headers["ETag"] = f"W/{file.etag}"
    return Response(content, media_type=file.kind, headers=headers)


async def _page(request: Request) -> Page:
    folder = page_folder(settings_of(request).page_dir)
    if folder is None:
        raise HTTPException(404, "The phone page is not part of this installation (NOONFRAME_PAGE_DIR)")
    return await run_in_threadpool(load_page, folder)


async def _at_the_root(request: Request, name: str) -> Response:
    file = (await _page(request)).files.get(name)
    if file is None:
        raise HTTPException(404, f"The phone page has no file {name}")
    return _send(request, file, "no-cache")


@router.api_route("/", methods=["GET", "HEAD"])
async def get_page(request: Request) -> Response:
    """The page itself."""
    return await _at_the_root(request, "index.html")


@router.api_route("/worker.js", methods=["GET", "HEAD"])
async def get_worker(request: Request) -> Response:
    """The service worker; it lies at the root, because it may only serve what lies below it."""
    return await _at_the_root(request, "worker.js")


@router.api_route("/app.webmanifest", methods=["GET", "HEAD"])
async def get_manifest(request: Request) -> Response:
    """What a phone needs to know to install the page."""
    return await _at_the_root(request, "app.webmanifest")


@router.api_route("/page/{version}/{path:path}", methods=["GET", "HEAD"])
async def get_file(request: Request, version: str, path: str) -> Response:
    """A file of the page, in the one version that there is."""
    page = await _page(request)
    file = None if path in _AT_THE_ROOT else page.files.get(path)
    if file is None or version != page.version:
        raise HTTPException(404, "The page has no such file, or not in this version; load the page anew")
    return _send(request, file, _FOR_EVER)
