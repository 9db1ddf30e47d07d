"""/v1/negative: pictures sent, film pages back, and nothing kept or left behind."""

import io
import json
import os
import tempfile
import threading

import numpy as np
import pypdf
import pytest
from PIL import Image

from noonframe.api import negative_upload
from noonframe.api.negative_upload import MOST_UPLOAD_BYTES, Gate
from noonframe.api.routes.negative import ANSWER_HEADER, NEGATIVE

JSON = {"Accept": "application/json"}
LOOK, MAKE = "/v1/negative/look", "/v1/negative"


def picture_bytes(kind="PNG", size=(60, 40), **how):
    rng = np.random.default_rng(3)
    small = Image.fromarray(rng.integers(0, 256, (4, 6, 3), dtype=np.uint8))
    out = io.BytesIO()
    small.resize(size, Image.Resampling.BICUBIC).save(out, kind, **how)
    return out.getvalue()


PICTURE = picture_bytes()
SMALL_PAGE = {"page": "a6", "dpi": 72}


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    """Every temporary file of this process would be made here."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.fixture
def send(caller):
    def ask(settings=None, pictures=(PICTURE,), path=MAKE, **how):
        files = [("picture", (f"kelp-{n}.png", data, "image/png")) for n, data in enumerate(pictures)]
        if settings is not None:
            text = settings if isinstance(settings, str) else json.dumps(settings)
            files.append(("settings", (None, text, "application/json")))
        return caller.request("POST", path, files=files, **how)

    return ask


def fault(response, status=422):
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    return response.json()["errors"][0]


def test_a_picture_comes_back_as_a_pdf_of_the_page(send):
    response = send(SMALL_PAGE)
    assert response.status_code == 200
    assert response.headers["content-type"] == "application/pdf"
    assert "negative.pdf" in response.headers["content-disposition"]
    box = pypdf.PdfReader(io.BytesIO(response.content)).pages[0].mediabox
    assert float(box.width) / 72 * 25.4 == pytest.approx(105.0, abs=0.1)
    assert float(box.height) / 72 * 25.4 == pytest.approx(148.0, abs=0.1)


def test_what_is_told_beside_the_file_is_what_json_tells(send):
    beside = json.loads(send(SMALL_PAGE).headers[ANSWER_HEADER])
    alone = send(SMALL_PAGE, headers=JSON)
    assert alone.headers["content-type"] == "application/json"
    assert alone.json() == beside
    assert beside["mirrored"] is True
    assert "inked side" in beside["mirror_reason"]
    one = beside["negatives"][0]
    assert one["look"]["conversions"] == ["colours without a profile are taken as sRGB"]
    assert one["look"]["name"] == "kelp-0.png"
    assert one["inverted"] is True
    assert one["effective_ppi"] == pytest.approx(60 / (one["height_mm"] / 25.4), abs=0.1)  # turned


def test_the_documented_request_works(send, caller):
    told = send(NEGATIVE, headers=JSON).json()
    assert told["negatives"][0]["grey"] == "green"
    body = caller.get("/openapi.json").json()["paths"][MAKE]["post"]["requestBody"]["content"]
    shown = body["multipart/form-data"]["schema"]["properties"]["settings"]["examples"][0]
    assert shown == NEGATIVE


def test_the_documented_aids_work(caller):
    paths = caller.get("/openapi.json").json()["paths"]
    for path in ("/v1/negative/wedge", "/v1/negative/mask"):
        fields = {one["name"]: one["example"] for one in paths[path]["get"]["parameters"] if "example" in one}
        assert fields
        response = caller.get(path, fields)
        assert response.status_code == 200
        assert response.headers["content-type"] == "application/pdf"
        assert response.content.startswith(b"%PDF-1.5")


@pytest.mark.parametrize(("kind", "mode"), [("png", "I;16"), ("tiff", "I;16")])
def test_picture_files_have_16_bits_unless_8_are_wanted(send, kind, mode):
    picture = Image.open(io.BytesIO(send({**SMALL_PAGE, "format": kind}).content))
    assert (picture.mode, picture.size) == (mode, (298, 420))
    eight = Image.open(io.BytesIO(send({**SMALL_PAGE, "format": kind, "bits": 8}).content))
    assert eight.mode == "L"


def test_without_settings_a_page_is_made(caller):
    files = [("picture", ("a.png", picture_bytes(size=(6, 4)), "image/png"))]
    told = caller.request("POST", MAKE, files=files, headers=JSON).json()
    assert told["page"]["name"] == "a4"
    assert told["page"]["dpi"] == 720


def test_several_pictures_and_copies_share_a_page(send):
    settings = {**SMALL_PAGE, "negatives": [{"picture": 2, "copies": 2}, {"picture": 1, "flip": True}]}
    told = send(settings, [PICTURE, picture_bytes("JPEG")], headers=JSON).json()
    assert [one["picture"] for one in told["negatives"]] == [2, 2, 1]
    assert [one["look"]["kind"] for one in told["negatives"]] == ["JPEG", "JPEG", "PNG"]
    assert told["layout"] == "shelves"


def test_given_positions_are_kept(send):
    at = [{"left_mm": 10, "top_mm": 20}, {"left_mm": 10, "top_mm": 80}]
    negatives = [{"at": one, "size": {"width_in": 1.0}} for one in at]
    told = send({**SMALL_PAGE, "negatives": negatives}, headers=JSON).json()
    assert told["layout"] == "given"
    assert [one["top_mm"] for one in told["negatives"]] == [20.0, 80.0]
    assert told["negatives"][0]["width_mm"] == pytest.approx(25.4)


def test_a_page_of_many_is_told_shortly_beside_the_file(send):
    settings = {**SMALL_PAGE, "negatives": [{"copies": 24}]}
    header = send(settings).headers[ANSWER_HEADER]
    assert len(header) < 6000
    assert "application/json" in json.loads(header)["notes"][-1]
    assert len(send(settings, headers=JSON).json()["negatives"]) == 24


def test_a_look_tells_what_pictures_are(send):
    told = send(None, [PICTURE, picture_bytes("TIFF")], LOOK).json()["pictures"]
    assert [(one["kind"], one["width_px"], one["height_px"], one["bits"]) for one in told] == [
        ("PNG", 60, 40, 8),
        ("TIFF", 60, 40, 8),
    ]
    assert told[0]["bytes"] == len(PICTURE)


@pytest.mark.parametrize(
    ("settings", "field"),
    [
        ({"negatives": [{"crop": {"width": 0, "height": 1}}]}, "negatives.0.crop.width"),
        ({"negatives": [{"crop": {"width": 2, "height": 1}}]}, "crop.width"),
        ({"negatives": [{"straighten_deg": 90}]}, "negatives.0.straighten_deg"),
        ({"negatives": [{"rotate_deg": 45}]}, "negatives.0.rotate_deg"),
        ({"negatives": [{"grey": "sepia"}]}, "negatives.0.grey"),
        ({"negatives": [{"levels": {"white_share": 0}}]}, "negatives.0.levels.white_share"),
        ({"negatives": [{"contrast": 0}]}, "negatives.0.contrast"),
        ({"negatives": [{"size": {}}]}, "negatives.0.size"),
        ({"negatives": [{"size": {"width_mm": 50, "width_in": 2}}]}, "negatives.0.size.width_in"),
        ({"negatives": [{"size": {"width_mm": 500}}]}, "negatives.0"),
        ({"negatives": [{"picture": 2}]}, "negatives.0.picture"),
        ({"negatives": []}, "negatives"),
        ({"negatives": [{"copies": 25}]}, "negatives.0.copies"),
        ({"negatives": [{"copies": 20}, {"copies": 20}]}, "negatives"),
        ({"page": "a9"}, "page"),
        ({"page": {"width_mm": 5, "height_mm": 50}}, "page.width_mm"),
        ({"dpi": 5000}, "dpi"),
        ({"dpi": "300"}, "dpi"),
        ({"bits": 12}, "bits"),
        ({"format": "gif"}, "format"),
        ({"margin_mm": -1}, "margin_mm"),
        ({"wedge_steps": 2}, "wedge_steps"),
        ({"label": "a\nb"}, "label"),
        ({"sharpen": 1}, "sharpen"),
        ({"negatives": [{"sharpen": 1}]}, "negatives.0.sharpen"),
    ],
)
def test_a_setting_that_cannot_be_is_named(send, settings, field):
    assert fault(send({**SMALL_PAGE, **settings}))["field"] == field


@pytest.mark.parametrize(
    "text",
    ["", "{", "[]", "null", '{"dpi": NaN}', '{"dpi": 72, "dpi": 72}', "[" * 5000, '{"label": "\\ud800"}'],
)
def test_settings_that_are_no_such_json_are_refused(send, text):
    fault(send(text))


def test_no_numbers_are_no_angles(send):
    for word in ("NaN", "Infinity", "1e999"):
        fault(send(f'{{"negatives": [{{"straighten_deg": {word}}}]}}'))


def test_a_picture_that_is_not_used_is_told(send):
    assert fault(send({"negatives": [{"picture": 1}]}, [PICTURE, PICTURE]))["field"] == "picture.2"


@pytest.mark.parametrize(
    "data", [b"", b"text", b"%PDF-1.4", b"GIF89a", b"<svg/>", PICTURE[:100], PICTURE[:-40], b"\xff\xd8\xff"]
)
@pytest.mark.parametrize("path", [MAKE, LOOK])
def test_a_file_that_is_no_whole_picture_is_refused(send, temporary, data, path):
    settings = SMALL_PAGE if path == MAKE else None
    assert fault(send(settings, [PICTURE, data], path))["field"] == "picture.2"
    assert not list(temporary.iterdir())


def test_parts_of_other_names_and_kinds_are_refused(caller):
    picture = ("picture", ("a.png", PICTURE, "image/png"))
    for files, field in (
        ([("photo", ("a.png", PICTURE, "image/png"))], "photo"),
        ([picture, ("mood", (None, "blue"))], "mood"),
        ([("picture", (None, "a.png"))], "picture"),
        ([("settings", (None, "{}"))], "picture"),
        ([picture, ("settings", ("s.json", b"{}")), ("settings", (None, "{}"))], "settings"),
    ):
        assert fault(caller.request("POST", MAKE, files=files))["field"] == field


def test_settings_may_come_as_a_file(caller):
    files = [
        ("settings", ("settings.json", json.dumps(SMALL_PAGE).encode(), "application/json")),
        ("picture", ("a.png", PICTURE, "image/png")),
    ]
    assert caller.request("POST", MAKE, files=files).status_code == 200


def test_the_look_takes_no_settings_and_no_route_takes_a_query(send, caller):
    assert fault(send({}, path=LOOK))["field"] == "settings"
    assert fault(send(SMALL_PAGE, path=f"{MAKE}?dpi=300"))["field"] == "dpi"


@pytest.mark.parametrize("kind", ["application/json", "image/png", "application/octet-stream", ""])
def test_a_body_of_another_type_is_refused(caller, kind):
    headers = {"Content-Type": kind} if kind else {}
    assert (
        fault(caller.request("POST", MAKE, content=PICTURE, headers=headers), 415)["field"] == "Content-Type"
    )


@pytest.mark.parametrize(
    ("boundary", "body"),
    [
        ("", b"--x\r\n"),
        ("; boundary=x", b""),
        ("; boundary=x", b"nothing like it"),
        ("; boundary=x", b"--x\r\nContent-Disposition: form-data\r\n\r\nno name\r\n--x--\r\n"),
        (
            "; boundary=x",
            b'--x\r\nContent-Disposition: form-data; name="picture"; filename="a"\r\n\r\ncut sh',
        ),
        ("; boundary=x", b"--x\r\n" + b"A" * 100_000),
    ],
)
def test_a_body_that_is_no_multipart_is_refused(caller, temporary, boundary, body):
    headers = {"Content-Type": f"multipart/form-data{boundary}"}
    response = caller.request("POST", MAKE, content=body, headers=headers)
    assert response.status_code in (400, 422)
    assert response.json()["errors"]
    assert not list(temporary.iterdir())


def test_too_many_parts_are_refused(send):
    fault(send(SMALL_PAGE, [PICTURE] * 26), 400)


def test_a_stated_length_beyond_the_limit_is_refused_unread(caller):
    headers = {
        "Content-Type": "multipart/form-data; boundary=x",
        "Content-Length": str(MOST_UPLOAD_BYTES + 1),
    }
    assert fault(caller.request("POST", MAKE, content=b"--x", headers=headers), 413)["field"] == "body"


def test_a_body_without_a_length_is_read_no_further_than_the_limit(caller, monkeypatch, temporary):
    monkeypatch.setattr(negative_upload, "MOST_UPLOAD_BYTES", 50_000)
    sent = 0

    async def endless():
        nonlocal sent
        yield b'--x\r\nContent-Disposition: form-data; name="picture"; filename="a"\r\n\r\n'
        while sent < 10_000_000:
            sent += 10_000
            yield b"\0" * 10_000

    headers = {"Content-Type": "multipart/form-data; boundary=x"}
    response = caller.request("POST", MAKE, content=endless(), headers=headers)
    assert fault(response, 413)["field"] == "body"
    assert not list(temporary.iterdir())


def test_uploads_have_a_limit_of_their_own(caller_with):
    caller = caller_with(max_body_bytes=1024)
    files = [("picture", ("a.png", picture_bytes(size=(200, 200)), "image/png"))]
    assert len(files[0][1][1]) > 1024
    assert caller.request("POST", LOOK, files=files).status_code == 200
    long = json.dumps({"label": "x" * 2000})
    refused = caller.request("POST", MAKE, files=[*files, ("settings", (None, long))])
    assert refused.status_code == 400


def test_a_slow_sender_is_sent_away(caller, monkeypatch):
    import asyncio

    monkeypatch.setattr(negative_upload, "LONGEST_UPLOAD_S", 0.05)

    async def slow():
        yield b'--x\r\nContent-Disposition: form-data; name="picture"; filename="a"\r\n\r\n'
        await asyncio.sleep(30)

    headers = {"Content-Type": "multipart/form-data; boundary=x"}
    response = caller.request("POST", MAKE, content=slow(), headers=headers)
    assert fault(response, 408)["field"] == "body"


def test_a_full_service_says_so_and_recovers(send, caller, monkeypatch):
    gate = Gate(at_once=1, queue_s=0.05)
    monkeypatch.setattr(caller.app.state, "negative_gate", gate, raising=False)
    with gate.upload():
        refused = send(SMALL_PAGE)
        assert fault(refused, 503)["field"] == "body"
        assert int(refused.headers["retry-after"]) > 0
    busy, done = threading.Event(), threading.Event()

    def hold():
        busy.set()
        done.wait(10)

    worker = threading.Thread(target=lambda: gate.work(hold))
    worker.start()
    busy.wait(10)
    try:
        fault(send(SMALL_PAGE), 503)
        fault(caller.get("/v1/negative/mask", {"dpi": 72}), 503)
    finally:
        done.set()
        worker.join()
    assert send(SMALL_PAGE).status_code == 200


def test_a_failure_frees_its_places(send, caller, monkeypatch):
    monkeypatch.setattr(caller.app.state, "negative_gate", Gate(at_once=1, queue_s=0.05), raising=False)
    for _ in range(3):
        fault(send(SMALL_PAGE, [b"text"]))
        fault(send({"dpi": 1}))
    assert send(SMALL_PAGE).status_code == 200


def test_nothing_is_left_in_temporary_folders_or_anywhere(send, temporary, monkeypatch):
    opened = []
    real = os.open
    monkeypatch.setattr(
        os,
        "open",
        lambda path, flags, *rest, **how: opened.append((path, flags)) or real(path, flags, *rest, **how),
    )
    large = picture_bytes("TIFF", (1500, 1200))
    assert len(large) > 2_000_000
    assert send(SMALL_PAGE, [large]).status_code == 200
    assert send({"format": "tiff", **SMALL_PAGE}).status_code == 200
    assert not list(temporary.iterdir())
    assert not [path for path, flags in opened if flags & (os.O_CREAT | os.O_WRONLY | os.O_RDWR)]


def test_names_are_told_back_plainly_and_never_used(caller):
    names = ["../../etc/passwd", "C:\\scans\\kelp.png", "a\tb.png", "x" * 300, " "]
    files = [("picture", (name, PICTURE, "image/png")) for name in names]
    told = [one["name"] for one in caller.request("POST", LOOK, files=files).json()["pictures"]]
    assert told[:2] == ["passwd", "kelp.png"]
    assert len(told[3]) == 80
    assert told[4] == "picture 5"


@pytest.mark.parametrize(
    ("path", "fields", "field"),
    [
        ("/v1/negative/wedge", {"steps": 2}, "steps"),
        ("/v1/negative/wedge", {"steps": 51, "patch_width_mm": 60}, "patch_width_mm"),
        ("/v1/negative/wedge", {"dpi": "nan"}, "dpi"),
        ("/v1/negative/wedge", {"bits": 9}, "bits"),
        ("/v1/negative/mask", {"page": "a9"}, "page"),
        ("/v1/negative/mask", {"strip_count": 31}, "strip_width_mm"),
        ("/v1/negative/mask", {"step_stops": 0}, "step_stops"),
        ("/v1/negative/mask", {"mood": "blue"}, "mood"),
    ],
)
def test_an_aid_that_cannot_be_is_refused(caller, path, fields, field):
    assert fault(caller.get(path, fields))["field"] == field


def test_an_aid_comes_in_the_format_asked_for(caller):
    response = caller.get("/v1/negative/wedge", {"format": "png", "dpi": 72, "mirror": "false", "steps": 5})
    picture = np.asarray(Image.open(io.BytesIO(response.content)))
    assert {65535, 49151, 32768, 16384, 0} <= set(np.unique(picture))
    mirrored = caller.get("/v1/negative/wedge", {"format": "png", "dpi": 72, "steps": 5}).content
    assert np.array_equal(np.asarray(Image.open(io.BytesIO(mirrored)))[:, ::-1], picture)
