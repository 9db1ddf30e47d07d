"""The service's own address, in words and as a QR code."""

import re
from xml.etree import ElementTree as Tree

import pytest
import segno

from noonframe.api.say_address import OwnAddress
from noonframe.api.say_qr import draw_address

SVG = "{http://www.w3.org/2000/svg}"


@pytest.mark.parametrize(
    ("host", "loopback", "said"),
    [
        ("localhost:8765", True, "this machine only"),
        ("127.0.0.1:8765", True, "this machine only"),
        ("127.1.2.3", True, "this machine only"),
        ("[::1]:8765", True, "this machine only"),
        ("192.0.2.7:8765", False, "same network"),
        ("Printroom.local", False, "not encrypted"),
        ("[2001:db8::7]:80", False, "same network"),
        ("localhost.printroom.example", False, "same network"),
    ],
)
def test_the_address_is_that_of_the_request_and_says_who_can_use_it(caller_with, host, loopback, said):
    answer = caller_with(hosts="*").get("/v1/address", headers={"Host": host}).json()
    assert answer["address"] == f"http://{host.lower()}"
    assert answer["loopback"] is loopback
    assert said in answer["summary"]
    assert answer["address"] in answer["summary"]


def test_behind_a_certificate_there_is_nothing_to_warn_of():
    own = OwnAddress("https://printroom.example", loopback=False)
    assert "encrypted" not in own.summary
    assert own.webcal("/v1/x.ics") == "webcal://printroom.example/v1/x.ics"


@pytest.mark.parametrize("path", ["/v1/address", "/v1/address.svg"])
@pytest.mark.parametrize(
    "host", ["evil.example/x", "a b", "a@b", "x:0", "x:65536", "[12::", "-a.example", ""]
)
def test_a_host_that_is_none_is_refused(caller, path, host):
    response = caller.get(path, headers={"Host": host})
    assert response.status_code == 422
    assert response.json()["errors"][0]["field"] == "Host"


def test_the_drawing_is_the_code_of_the_address_module_by_module(caller):
    response = caller.get("/v1/address.svg", headers={"Host": "192.0.2.7:8765"})
    assert response.headers["content-type"] == "image/svg+xml"
    root = Tree.fromstring(response.text)
    dark = set()
    for box in root.iter(f"{SVG}rect"):
        if box.get("fill") == "#000000":
            x, y, width, height = (float(box.get(name, "")) for name in ("x", "y", "width", "height"))
            assert height == 8.0
            dark |= {(round(x + 8.0 * k, 2), round(y, 2)) for k in range(round(width / 8.0))}
    left = min(x for x, _ in dark)
    top = min(y for _, y in dark)
    assert top == 32.0  # four modules of quiet zone (ISO/IEC 18004)
    code = segno.make("http://192.0.2.7:8765", error="m", micro=False)
    expected = {
        (left + 8.0 * column, top + 8.0 * row)
        for row, modules in enumerate(code.matrix)
        for column, module in enumerate(modules)
        if module
    }
    assert dark == expected


def test_the_drawing_says_in_words_what_it_shows():
    own = OwnAddress("http://127.0.0.1:8765", loopback=True)
    words = re.sub(r"<[^>]+>", " ", draw_address(own))
    assert own.base in words
    assert "a phone cannot open it" in " ".join(words.split())


def test_no_question_is_taken(caller):
    assert caller.get("/v1/address", {"page": "x"}).status_code == 422
