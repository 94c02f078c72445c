"""The page of a set-up that is watched: what is served, to whom, and what a browser hears."""

from __future__ import annotations

import http.client
import json
import socket

import pytest

from fixturecheck.commands.watch import Doing, LivePage
from fixturecheck.errors import SetupError
from tests.processes import PATIENCE_S


@pytest.fixture
def page(tmp_path):
    file = tmp_path / "report.html"
    file.write_text("<html><body><p>the answer</p></body></html>", encoding="utf-8")
    (tmp_path / "result.json").write_text("{}")
    with LivePage(file, "gib") as live:
        yield live


def asked(live, path="/", **headers):
    link = http.client.HTTPConnection("127.0.0.1", live.port, timeout=PATIENCE_S)
    link.request("GET", path, headers=headers)
    answer = link.getresponse()
    text = answer.read().decode()
    link.close()
    return answer.status, text


def test_the_page_is_served_with_what_loads_it_again(page):
    status, text = asked(page)
    assert status == 200
    assert text.startswith("<html><body><p>the answer</p>")
    assert text.index('new EventSource("/events")') < text.index("</body></html>")


def test_the_pages_of_a_job_s_operations_are_served(page, tmp_path):
    inner = tmp_path / "operations/10"
    inner.mkdir(parents=True)
    (inner / "report.html").write_text("<html><body>of ten</body></html>")
    status, text = asked(page, "/operations/10/report.html")
    assert (status, text.startswith("<html><body>of ten")) == (200, True)
    assert asked(page, "/operations/10/result.json")[0] == 404
    assert asked(page, "/operations/../report.html")[0] == 404


@pytest.mark.parametrize(
    "path", ["/result.json", "/report.html", "/../report.html", "//etc/passwd", "/events/x"]
)
def test_no_file_is_served(page, path):
    assert asked(page, path)[0] == 404


@pytest.mark.parametrize("host", ["shop.example", "127.0.0.1", "127.0.0.1:1", "localhost.shop.example:80"])
def test_a_page_of_another_site_cannot_read_it(page, host):
    """A name of another site may be made to lead here; the request then still names that site."""
    assert asked(page, Host=host)[0] == 403


def test_it_listens_on_the_loopback_address_only(page):
    assert page._server.server_address[0] == "127.0.0.1"
    assert page.address == f"http://127.0.0.1:{page.port}/"


def heard(stream):
    """Return the next news; what keeps the line open is passed over."""
    while not (line := stream.readline()).startswith(b"data: "):
        assert line
    return json.loads(line.removeprefix(b"data: "))


def test_a_browser_hears_what_goes_on(page):
    link = http.client.HTTPConnection("127.0.0.1", page.port, timeout=PATIENCE_S)
    link.request("GET", "/events")
    stream = link.getresponse()
    assert stream.getheader("Content-Type") == "text/event-stream"
    assert heard(stream) == {"doing": "checking", "says": "", "page": 0}
    page.tell(Doing.CHECKING, "Checking again.\nnest: 3 go")
    assert heard(stream) == {"doing": "checking", "says": "Checking again.\nnest: 3 go", "page": 0}
    page.tell(Doing.DONE)
    assert heard(stream) == {"doing": "done", "says": "", "page": 1}
    page.tell(Doing.FAILED, 'Not checked: "a" is\nnot closed.')
    assert heard(stream) == {"doing": "failed", "says": 'Not checked: "a" is\nnot closed.', "page": 1}
    link.close()


def test_a_page_knows_which_answer_it_shows(page):
    assert "own = 0;" in asked(page)[1]
    page.tell(Doing.DONE)
    assert "own = 1;" in asked(page)[1]


def test_before_the_first_answer_a_page_waits_for_it(tmp_path):
    with LivePage(tmp_path / "report.html", "<gib> & co") as live:
        status, text = asked(live)
        assert not live.has_answer
        (tmp_path / "report.html").touch()
        assert live.has_answer
    assert status == 200
    assert "<h1>&lt;gib&gt; &amp; co</h1>" in text
    assert "EventSource" in text


def test_a_port_in_use_is_one_line(tmp_path):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(SetupError, match=f"^port {port} is in use; give another --port"):
            LivePage(tmp_path / "report.html", "gib", port)
