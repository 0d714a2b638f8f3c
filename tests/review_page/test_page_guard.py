"""Who may ask the page: this machine, the page itself, with the token; and what it says to browsers.

The rules are those of the Fetch Metadata request headers (W3C), of RFC 6454 (Origin), and of CSP level 3.
"""

import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from page_server import Served, archive_of, decisions_in, opened

pytest.importorskip("uvicorn", reason="the review page needs plexor[review]")


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return archive_of(tmp_path_factory.mktemp("guard"))


@pytest.fixture(scope="module")
def page(archive: Path) -> Iterator[Served]:
    with opened(archive) as running:
        yield running


def test_the_page_opens_for_who_has_its_address(page: Served) -> None:
    assert page.get("/").status == 200
    assert page.get("/", {"Sec-Fetch-Site": "none"}).status == 200
    assert page.get("/", {"Sec-Fetch-Site": "same-origin"}).status == 200
    assert page.ask("GET", f"{page.base}/", {"Host": f"localhost:{page.port}"}).status == 200


@pytest.mark.parametrize(
    "token", ["", "/", "/wrong-token/", "/wrong/static/review.css", "/{}x/", "/x{}/", "/{}"]
)
def test_without_the_right_token_nothing_is_shown(page: Served, token: str) -> None:
    path = token.format(page.base.strip("/")) or "/"
    answer = page.ask("GET", path, {})
    assert answer.status == 404
    assert "RV-" not in answer.text
    assert "<" not in answer.text


def test_the_token_is_long_and_new_each_time(page: Served, archive: Path) -> None:
    assert len(page.base) >= 43  # 32 random bytes
    with opened(archive, "R-2") as other:
        assert other.base != page.base


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_are_refused_even_with_the_token(page: Served, site: str) -> None:
    assert page.get("/", {"Sec-Fetch-Site": site}).status == 403
    assert page.get("/static/review.js", {"Sec-Fetch-Site": site}).status == 403
    headers = {"Origin": page.origin, "Sec-Fetch-Site": site}
    assert page.post("/undo", {"number": "1"}, headers).status == 403


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"Origin": "null"},
        {"Origin": "https://attacker.example"},
        {"Origin": "http://127.0.0.1:1"},
        {"Origin": "https://attacker.example", "Sec-Fetch-Site": "same-origin"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "same-origin"},
    ],
)
def test_a_form_from_elsewhere_changes_nothing(page: Served, archive: Path, headers: dict[str, str]) -> None:
    path = page.question("doubt")
    fields = page.get(path).inputs('value="confirm"') | {"verdict": "confirm"}
    assert page.post(f"{path}/decide", fields, headers).status == 403
    assert decisions_in(archive) == []


@pytest.mark.parametrize(
    "host",
    ["attacker.example", "attacker.example:{}", "127.0.0.1", "127.0.0.1:1", "[::1]:{}", "localhost.:{}"],
)
def test_a_name_that_was_pointed_here_is_refused(page: Served, host: str) -> None:
    answer = page.ask("GET", f"{page.base}/", {"Host": host.format(page.port)})
    assert answer.status == 421
    assert "RV-" not in answer.text


def test_two_hosts_or_none_are_refused(page: Served) -> None:
    for hosts in ([], [f"127.0.0.1:{page.port}", "attacker.example"]):
        with socket.create_connection(("127.0.0.1", page.port), timeout=10) as link:
            lines = "".join(f"Host: {one}\r\n" for one in hosts)
            link.sendall(f"GET {page.base}/ HTTP/1.1\r\n{lines}Connection: close\r\n\r\n".encode())
            assert link.recv(4096).split(b" ")[1] == b"400"


def test_only_loopback_is_listened_on(page: Served) -> None:
    listening = [
        line.split()
        for table in ("/proc/net/tcp", "/proc/net/tcp6")
        if Path(table).is_file()
        for line in Path(table).read_text().splitlines()[1:]
    ]
    mine = [
        row[1].split(":")[0]
        for row in listening
        if row[3] == "0A" and int(row[1].split(":")[1], 16) == page.port
    ]
    assert mine == ["0100007F"]  # 127.0.0.1, as the kernel writes it
    for address in own_addresses():
        with pytest.raises(OSError, match=r"refused|timed out|unreachable"):
            socket.create_connection((address, page.port), timeout=3)


def own_addresses() -> set[str]:
    """The addresses of this machine that others could reach it by."""
    found = {str(one[4][0]) for one in socket.getaddrinfo(socket.gethostname(), None, socket.AF_INET)}
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # RFC 5737: an address for documents; nothing is sent
            found.add(probe.getsockname()[0])
        except OSError:
            pass  # no network at all
    return {one for one in found if not one.startswith("127.")}


def test_every_answer_forbids_foreign_code_and_frames(page: Served) -> None:
    for path in (
        "/",
        "/decisions",
        page.question("doubt"),
        "/static/review.css",
        "/nowhere",
        "/question/nothing",
    ):
        answer = page.get(path)
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"
        assert answer.headers["cross-origin-resource-policy"] == "same-origin"
        assert "server" not in answer.headers
        assert "access-control-allow-origin" not in answer.headers


def test_pages_hold_no_script_of_their_own_and_nothing_from_outside(page: Served) -> None:
    for path in ("/", "/decisions", page.question("contradiction"), f"{page.question('unread')}/add"):
        text = page.get(path).text
        assert text.count("<script") == 1
        assert f'src="{page.base}/static/review.js"' in text
        assert " style=" not in text
        assert " on" not in " ".join(part.split(">")[0] for part in text.split("<button")[1:])
        links = [
            part.split('"')[0] for mark in ('href="', 'src="', 'action="') for part in text.split(mark)[1:]
        ]
        assert links
        assert all(link.startswith((page.base, "#")) for link in links)


@pytest.mark.parametrize("method", ["PUT", "DELETE", "OPTIONS", "PATCH", "TRACE"])
def test_other_methods_are_refused(page: Served, method: str) -> None:
    assert page.ask(method, f"{page.base}/", {}).status == 405


def test_a_request_that_is_too_long_is_refused_and_the_page_lives_on(page: Served) -> None:
    fields = {"places": "x" * 200_000, "verdict": "confirm"}
    assert page.post(f"{page.question('doubt')}/decide", fields).status == 413
    assert page.get("/").status == 200


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd"]
)
def test_only_the_two_files_of_the_page_are_given_out(page: Served, path: str) -> None:
    assert page.get(path).status == 404
    assert page.get("/static/review.css").headers["content-type"].startswith("text/css")


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/undo", {"number": "99"}), ("/undo", {"number": "x"}), ("/undo", {}),
        ("/question/nothing/decide", {"verdict": "confirm", "places": "x", "seen": "0"}),
        ("{}/decide", {}), ("{}/decide", {"verdict": "burn", "places": "x"}),
        ("{}/decide", {"verdict": "confirm", "places": "no-such-place@0-1", "seen": "-1"}),
        ("{}/correct", {"place": "no-such-place@0-1"}), ("{}/add", {}), ("{}/add", {"near": "9" * 40}),
        ("{}/correct", {f"f{number}": "x" for number in range(100)}),
    ],
)  # fmt: skip
def test_a_broken_form_gets_a_clear_page_and_saves_nothing(
    page: Served, archive: Path, path: str, fields: dict[str, str]
) -> None:
    answer = page.post(path.format(page.question("doubt")), fields)
    assert answer.status in (409, 410, 422)
    assert "Not s" in answer.text
    assert "Traceback" not in answer.text
    assert "fault" not in answer.text
    assert decisions_in(archive) == []
