"""Nobody else comes in: other hosts, other sites, other devices, too much, too often."""

import io
import json
import re
import socket
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import anyio
import httpx
import pytest

from gaugewright.app.yard import Yard
from gaugewright.journal.book import open_book
from gaugewright.workbench.guard import HEADERS, Door
from gaugewright.workbench.pairing import (
    CODE_LASTS_S,
    MOST_WRONG,
    TRIES,
    TRIES_WITHIN_S,
    Pairing,
    PairingError,
    TooManyTriesError,
)
from gaugewright.workbench.server import build_app


@pytest.fixture
def ask(tmp_path):
    """Ask a server as if from any address of the network."""
    yard = Yard(open_book(tmp_path / "yard.book"))
    door = Door(hosts=frozenset({"localhost", "192.168.1.20"}))
    app = build_app(yard, door=door, lan_url="http://192.168.1.20:8047")

    def asked(
        method="GET",
        path="/",
        *,
        client="127.0.0.1",
        host="localhost",
        cookies=None,
        **kwargs,
    ):
        async def one():
            transport = httpx.ASGITransport(app=app, client=(client, 5000))
            base = f"http://{host}"
            async with httpx.AsyncClient(
                transport=transport, base_url=base, cookies=cookies
            ) as asking:
                return await asking.request(method, path, **kwargs)

        # In a thread of its own: a browser test in this process keeps a loop in the main one.
        with ThreadPoolExecutor(1) as apart:
            return apart.submit(anyio.run, one).result()

    asked.door = door
    yield asked
    yard.close()


def session_of(answer):
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    return {"gaugewright_session": re.search(r"=([^;]+);", cookie)[1]}


@pytest.mark.parametrize(
    ("field", "asked"),
    [("before", "abc"), ("before", ""), ("before", "-1"), ("before", "9" * 30),
     ("containing", "a" * 101)],
)  # fmt: skip
def test_a_list_of_jobs_that_cannot_be_given_is_refused_naming_the_field(ask, field, asked):
    answer = ask(path=f"/?{field}={asked}", headers={"accept": "application/json"})

    assert (answer.status_code, answer.json()["field"]) == (422, field)


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "192.168.1.21"])
def test_a_name_that_is_not_ours_is_refused(ask, host):
    answer = ask(host=host)
    assert (answer.status_code, answer.json()["field"]) == (403, "host")


@pytest.mark.parametrize("path", ["/", "/api/jobs", "/api/openapi.json", "/static/none", "/nope"])
def test_every_answer_carries_the_security_headers(ask, path):
    answer = ask(path=path)
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    policy = answer.headers["content-security-policy"]
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


def test_refusals_carry_the_security_headers_too(ask):
    assert ask(host="evil.example").headers["x-frame-options"] == "DENY"


def new_job(token=None, **more):
    headers = {} if token is None else {"x-csrf-token": token}
    body = {"person": "Ann", "customer": "A", "vehicle": "B"}
    return {"json": body, "headers": {**headers, **more}}


def test_nothing_is_recorded_without_the_token_of_the_page(ask):
    answer = ask("POST", "/api/jobs", **new_job())
    assert (answer.status_code, answer.json()["field"]) == (403, "csrf")


def test_a_token_belongs_to_one_session(ask):
    mine = ask(path="/api/session")
    theirs = ask(path="/api/session")
    token = theirs.json()["csrf_token"]
    answer = ask("POST", "/api/jobs", cookies=session_of(mine), **new_job(token))
    assert answer.json()["field"] == "csrf"
    answer = ask("POST", "/api/jobs", cookies=session_of(theirs), **new_job(token))
    assert answer.status_code == 201


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "https://localhost"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_site_records_nothing_even_with_a_token(ask, headers):
    mine = ask(path="/api/session")
    sent = new_job(mine.json()["csrf_token"], **headers)
    answer = ask("POST", "/api/jobs", cookies=session_of(mine), **sent)
    assert (answer.status_code, answer.json()["field"]) == (403, "origin")


def test_a_form_of_another_site_cannot_carry_the_token(ask):
    mine = ask(path="/api/session")
    answer = ask(
        "POST",
        "/api/jobs",
        cookies=session_of(mine),
        data={"person": "Ann", "csrf_token": mine.json()["csrf_token"]},
    )
    assert answer.status_code == 403


@pytest.mark.parametrize(
    ("method", "path"),
    [("GET", "/"), ("GET", "/api/jobs"), ("GET", "/jobs/x/pour"), ("POST", "/api/jobs"),
     ("POST", "/api/pairing"), ("GET", "/api/openapi.json"), ("GET", "/photos/" + "0" * 64)],
)  # fmt: skip
def test_a_device_that_is_not_paired_sees_nothing(ask, method, path):
    answer = ask(method, path, client="192.168.1.50", host="192.168.1.20")
    assert (answer.status_code, answer.json()["field"]) == (401, "device")


@pytest.mark.parametrize(
    ("path", "kept"), [("/static/js/main.js", "no-cache"), ("/api/jobs", "no-store")]
)
def test_a_script_is_asked_for_anew_after_an_update_and_a_figure_is_never_kept(ask, path, kept):
    answer = ask(path=path)
    assert answer.headers["cache-control"] == kept


def script_named_by_the_first_page(ask):
    found = re.search(r'src="(/static/[^"]*/js/main\.js)"', ask(path="/").text)
    assert found is not None
    return found[1]


def test_what_a_page_names_is_kept_for_good_under_a_path_of_its_version(ask):
    path = script_named_by_the_first_page(ask)

    answer = ask(path=path)

    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "private, max-age=31536000, immutable"
    assert answer.content == ask(path="/static/js/main.js").content
    again = ask(path=path, headers={"if-none-match": answer.headers["etag"]})
    assert (again.status_code, "immutable" in again.headers["cache-control"]) == (304, True)


def test_a_page_of_an_older_version_is_given_today_s_script_which_is_not_kept(ask):
    answer = ask(path="/static/v-0123456789abcdef/js/main.js")

    assert (answer.status_code, answer.headers["cache-control"]) == (200, "no-cache")
    assert answer.content == ask(path="/static/js/main.js").content


def test_a_script_that_is_not_there_is_not_kept_as_missing(ask):
    answer = ask(path=script_named_by_the_first_page(ask).replace("main.js", "none.js"))

    assert answer.status_code == 404
    assert "immutable" not in answer.headers["cache-control"]


def test_a_person_with_a_device_that_is_not_paired_is_shown_the_way_in(ask):
    html = {"accept": "text/html,*/*"}
    answer = ask(path="/jobs/x/pour", client="192.168.1.50", host="192.168.1.20", headers=html)
    assert answer.status_code == 401
    assert 'data-absolute="/api/pair"' in answer.text
    assert "not paired" in answer.text


def paired(ask, device="Ann's phone"):
    phone = {"client": "192.168.1.50", "host": "192.168.1.20"}
    page = ask(path="/pair?code=x", **phone)
    assert page.status_code == 200
    token = ask(path="/api/session", cookies=session_of(page), **phone).json()["csrf_token"]
    answer = ask(
        "POST",
        "/api/pair",
        cookies=session_of(page),
        headers={"x-csrf-token": token},
        json={"code": ask.door.pairing.new_code(), "device": device},
        **phone,
    )
    assert answer.status_code == 200, answer.text
    return phone, session_of(answer), answer.json()["csrf_token"]


def test_a_paired_device_records_under_its_own_name(ask):
    phone, cookies, token = paired(ask)
    answer = ask("POST", "/api/jobs", cookies=cookies, **phone, **new_job(token))
    assert answer.status_code == 201
    assert answer.json()["entries"][0]["device"] == "Ann's phone"


def test_a_paired_device_gives_no_codes(ask):
    phone, cookies, token = paired(ask)
    sent = {"headers": {"x-csrf-token": token}}
    assert ask("POST", "/api/pairing", cookies=cookies, **phone, **sent).status_code == 403


def test_the_computer_gives_a_code_with_its_drawing(ask):
    mine = ask(path="/api/session")
    headers = {"x-csrf-token": mine.json()["csrf_token"]}
    given = ask("POST", "/api/pairing", cookies=session_of(mine), headers=headers).json()
    assert given["url"] == f"http://192.168.1.20:8047/pair?code={given['code']}"
    assert given["qr_svg"].startswith('<svg xmlns="http://www.w3.org/2000/svg"')
    assert "style=" not in given["qr_svg"]


def test_wrong_codes_are_refused_and_then_nobody_is_let_in_for_a_while(ask):
    phone = {"client": "192.168.1.50", "host": "192.168.1.20"}
    page = ask(path="/api/session", **phone)
    sent = {
        "cookies": session_of(page),
        "headers": {"x-csrf-token": page.json()["csrf_token"]},
        "json": {"code": "WRONGONE", "device": "d"},
    }
    got = [ask("POST", "/api/pair", **phone, **sent).status_code for _ in range(TRIES + 2)]
    assert got == [403] * TRIES + [429] * 2


class HandClock:
    """A clock that stands until it is moved."""

    now_s = 0.0

    def __call__(self):
        return self.now_s


def test_a_code_is_used_once():
    pairing = Pairing()
    code = pairing.new_code()
    assert pairing.device_of(pairing.claim(code.lower(), "  phone ")) == "phone"
    with pytest.raises(PairingError):
        pairing.claim(code, "another")


def test_a_code_expires():
    clock = HandClock()
    pairing = Pairing(clock)
    code = pairing.new_code()
    clock.now_s = CODE_LASTS_S + 1
    with pytest.raises(PairingError, match="too old"):
        pairing.claim(code, "phone")


def test_a_new_code_makes_the_one_before_worthless():
    pairing = Pairing()
    old = pairing.new_code()
    pairing.new_code()
    with pytest.raises(PairingError):
        pairing.claim(old, "phone")


def test_the_right_code_is_not_taken_while_too_many_wrong_ones_came():
    clock = HandClock()
    pairing = Pairing(clock)
    code = pairing.new_code()
    for _ in range(TRIES):
        with pytest.raises(PairingError):
            pairing.claim("WRONG", "phone")
    with pytest.raises(TooManyTriesError):
        pairing.claim(code, "phone")
    clock.now_s = TRIES_WITHIN_S + 1
    assert pairing.claim(code, "phone")


def test_a_code_that_was_guessed_at_too_often_is_worthless():
    clock = HandClock()
    pairing = Pairing(clock)
    code = pairing.new_code()
    for _ in range(MOST_WRONG):
        with pytest.raises(PairingError, match="is wrong"):
            pairing.claim("WRONG", "phone")
        clock.now_s += TRIES_WITHIN_S / TRIES + 1  # never too often
    assert clock.now_s < CODE_LASTS_S
    with pytest.raises(PairingError, match="wrong, used or too old"):
        pairing.claim(code, "phone")


def test_two_devices_of_one_name_are_told_apart():
    pairing = Pairing()
    names = [pairing.device_of(pairing.claim(pairing.new_code(), "phone")) for _ in range(3)]
    assert names == ["phone", "phone 2", "phone 3"]


def test_a_body_that_is_too_large_is_refused_before_it_is_read(hand):
    answer = hand.client.post(f"/api/jobs/{hand.job}/notes", content=b"x" * 600_000)
    assert answer.status_code == 413


def test_a_body_that_does_not_say_how_large_it_is_is_cut_off(hand):
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/notes", content=(b" " * 10_000 for _ in range(100))
    )
    assert answer.status_code == 413


def test_a_photo_may_be_larger_than_other_bodies_but_not_endless(hand):
    answer = hand.client.post(
        f"/api/jobs/{hand.job}/photos",
        data={"person": "Ann", "on": 1},
        files={"file": ("a.jpg", io.BytesIO(bytes(21_000_000)), "image/jpeg")},
    )
    assert answer.status_code == 413


@pytest.mark.parametrize(
    "path",
    [
        "/static/../server.py",
        "/static/%2e%2e/server.py",
        "/static/..%2fserver.py",
        "/static//etc/passwd",
        "/static/v-../server.py",
        "/static/v-x/../../server.py",
        "/static/v-x/%2e%2e/%2e%2e/server.py",
        "/static/v-x/..%2f..%2fserver.py",
        "/static/v-x//etc/passwd",
    ],
)
def test_no_file_outside_the_static_folder_is_given(workbench, path):
    where = urlsplit(workbench.url)
    with socket.create_connection((where.hostname, where.port), timeout=5) as line:
        request = f"GET {path} HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
        line.sendall(request.encode())
        heard = b"".join(iter(lambda: line.recv(65536), b""))
    assert heard.startswith(b"HTTP/1.1 404")
    assert b"import" not in heard


def test_without_lan_the_server_listens_on_this_computer_only(workbench):
    assert workbench.sockets[0].getsockname()[0] == "127.0.0.1"
    assert workbench.pairing is None


def test_the_name_of_a_job_is_no_path(hand):
    name = uuid4().hex
    answer = hand.client.post(
        "/api/jobs",
        json={"person": "Ann", "customer": "A", "vehicle": "B", "job": f"../../tmp/{name}"},
    )
    assert (answer.status_code, answer.json()["field"]) == (422, "job")
    assert not list(Path("/tmp").glob(f"{name}*"))


def test_words_of_a_person_are_never_markup_on_a_page(hand):
    hand.record("/facts", facts={"customer": "<script>alert(1)</script>"}, reason="test")
    hand.record("/notes", text="<img src=x onerror=alert(1)>")
    for path in ("/", f"/jobs/{hand.job}/survey"):
        text = hand.client.get(path).text
        assert "<script>alert" not in text
        assert "<img src=x" not in text


def test_errors_are_json_for_programs(hand):
    answer = hand.client.get("/api/jobs/none")
    assert json.loads(answer.text).keys() == {"error", "field"}
