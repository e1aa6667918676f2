"""Tokens: the file, who passes and who never does, rotation, and the refusal to listen unasked.

Headers after RFC 6750 (Bearer) and RFC 9110, 11 (schemes, challenges).
"""

from __future__ import annotations

import os
from copy import copy
from pathlib import Path

import pytest
from click.testing import CliRunner
from flask import Flask
from flask.testing import FlaskClient
from hypothesis import given
from hypothesis import strategies as st

from shortway import config as settings
from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from shortway.api.openapi.openapi_document import build_document, pretty_json
from shortway.cli import main
from shortway.serving.gunicorn_settings import gunicorn_options as gunicorn_settings
from support.tables import each_row

TOKEN = "shortway_3pXgq4kRkJcQ2n-JmT0hYvWZ_6uB1sE7aLdF9iOxC8w"
OLD, NEW = tokens.generate_token(), tokens.generate_token()
CALL = "/v1/families"


def written(path: Path, *lines: str) -> Path:
    """The file at `path` with `lines`, put there in one act."""
    fresh = path.with_suffix(".new")
    fresh.write_text("".join(f"{line}\n" for line in lines))
    return fresh.replace(path)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return written(
        tmp_path / "tokens", "# ours", "", tokens.token_line("app", TOKEN) + "  # a phone"
    )


@pytest.fixture
def app(file: Path) -> Flask:
    return create_app({"TOKENS_FILE": str(file)})


@pytest.fixture
def client(app: Flask) -> FlaskClient:
    return app.test_client()


def status(client: FlaskClient, token: str, scheme: str = "Bearer ") -> int:
    return client.get(CALL, headers={"Authorization": scheme + token}).status_code


# --- who passes -----------------------------------------------------------------------------------


@pytest.mark.parametrize("scheme", ["Bearer ", "bearer ", "BEARER ", "bEaReR "])
def test_a_known_token_passes_whatever_the_case_of_the_scheme(
    client: FlaskClient, scheme: str
) -> None:
    assert status(client, TOKEN, scheme) == 200


WRONG = [
    TOKEN.lower(), TOKEN.upper(), TOKEN.swapcase(), TOKEN[:-1], TOKEN[1:], TOKEN[:9], TOKEN + "a",
    TOKEN + "=", TOKEN + "/", "a" + TOKEN, TOKEN * 2, TOKEN + "," + TOKEN, TOKEN + " " + TOKEN,
    " " + TOKEN, TOKEN + " ", "\t" + TOKEN, TOKEN[:20] + " " + TOKEN[20:], f'"{TOKEN}"',
    TOKEN.replace("_", "-"), TOKEN.replace("-", "%2D"), TOKEN.removeprefix(tokens.MARK),
    tokens.token_line("app", TOKEN).split(":")[1], "app", "sha256:" + "0" * 64, "é" + TOKEN, "",
]  # fmt: skip


@each_row("wrong", WRONG)
def test_what_is_nearly_a_token_never_passes(client: FlaskClient, wrong: str) -> None:
    response = client.get(CALL, headers={"Authorization": f"Bearer {wrong}"})
    said = response.get_json()
    assert (response.status_code, said["code"]) == (401, "unauthorized")
    assert response.mimetype == "application/problem+json"
    challenge = 'Bearer realm="shortway", error="invalid_token"'
    assert response.headers["WWW-Authenticate"] == challenge
    assert TOKEN[12:30].lower() not in response.get_data(as_text=True).lower()


@given(st.data())
def test_no_change_of_a_token_passes(data: st.DataObject) -> None:
    """One piece of it replaced by whatever a header may hold."""
    start = data.draw(st.integers(0, len(TOKEN)))
    end = data.draw(st.integers(start, len(TOKEN)))
    printable = st.characters(min_codepoint=32, max_codepoint=126)
    changed = TOKEN[:start] + data.draw(st.text(printable, max_size=60)) + TOKEN[end:]
    assert (status(SHARED, changed) == 200) is (changed == TOKEN)


@pytest.fixture(scope="module", autouse=True)
def _shared(tmp_path_factory: pytest.TempPathFactory) -> None:
    path = written(tmp_path_factory.mktemp("shared") / "tokens", tokens.token_line("app", TOKEN))
    global SHARED
    SHARED = create_app({"TOKENS_FILE": str(path)}).test_client()


SHARED: FlaskClient


@pytest.mark.parametrize(
    "header", ["Basic YTpi", TOKEN, f"Bearer\t{TOKEN}", f"Bearer{TOKEN}", "Bearer", "", "é"]
)
def test_a_header_that_is_no_bearer_is_asked_for_one(client: FlaskClient, header: str) -> None:
    """RFC 6750, 3: no error code where no token of the scheme was given."""
    response = client.get(CALL, headers={"Authorization": header})
    assert response.status_code == 401
    assert response.headers["WWW-Authenticate"] == 'Bearer realm="shortway"'


def test_without_a_header_nothing_but_a_challenge(client: FlaskClient) -> None:
    response = client.get(CALL)
    assert (response.status_code, response.get_json()["code"]) == (401, "unauthorized")
    assert response.headers["WWW-Authenticate"] == 'Bearer realm="shortway"'


def test_a_token_in_the_address_or_body_is_none(client: FlaskClient) -> None:
    """RFC 6750, 2.2 and 2.3 allow services not to take them."""
    assert client.get(f"{CALL}?access_token={TOKEN}").status_code == 401
    assert client.post("/v1/chords", data={"access_token": TOKEN}).status_code == 401


# --- which calls ----------------------------------------------------------------------------------


def test_methods_are_no_secret(client: FlaskClient) -> None:
    """RFC 9110 section 9.3.7: OPTIONS touches no resource; the public document says as much."""
    response = client.options("/v1/paths")
    assert (response.status_code, response.headers["Allow"]) == (204, "OPTIONS, POST")
    assert client.post("/v1/paths").status_code == 401


def test_every_call_but_the_open_ones_asks(app: Flask, client: FlaskClient) -> None:
    asked = set()
    for rule in app.url_map.iter_rules():
        path = rule.rule.replace("<path:name>", "charts")
        for method in rule.methods or ():
            if client.open(path, method=method).status_code == 401:
                asked.add(path)
    paths = {rule.rule for rule in app.url_map.iter_rules()}
    opened = {"/", "/docs", "/docs/", "/docs/<path:name>", "/page/<path:name>"}
    assert asked == paths - opened - {"/healthz", "/readyz", "/openapi.json"}
    assert "/v1/batches" in asked


@pytest.mark.parametrize("path", ["/nothing", "/v1/nothing", "//v1/families", "/healthz/", "/page"])
def test_an_address_that_is_none_tells_nobody(client: FlaskClient, path: str) -> None:
    assert client.get(path).status_code == 401
    assert client.get(path, headers={"Authorization": f"Bearer {TOKEN}"}).status_code == 404


def test_an_answer_that_is_kept_is_not_given_without_a_token(client: FlaskClient) -> None:
    body = {"chart": {"text": "| Dm7 | G7 |"}}
    headers = {"Authorization": f"Bearer {TOKEN}"}
    assert client.post("/v1/paths", json=body, headers=headers).status_code == 200
    assert client.post("/v1/paths", json=body).status_code == 401


def test_a_shared_cache_keeps_no_answer_to_a_token(client: FlaskClient) -> None:
    """RFC 9111, 3.5: `public` would let it."""
    answer = client.get(CALL, headers={"Authorization": f"Bearer {TOKEN}"})
    assert answer.headers["Cache-Control"] == "max-age=3600, private"
    assert "public" in client.get("/openapi.json").headers["Cache-Control"]


def test_the_document_is_the_same_with_tokens(client: FlaskClient) -> None:
    assert pretty_json(build_document(client.application)) == client.get("/openapi.json").data


def test_without_a_file_anybody_may_ask(caplog: pytest.LogCaptureFixture) -> None:
    assert status(create_app().test_client(), "anything") == 200


# --- the file -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "has no token"),
        ("# nobody\n\n", "has no token"),
        ("app\n", "line 1"),
        ("a sha256:" + "0" * 64 + "\nb sha256:" + "0" * 63 + "\n", "line 2"),
        ("app md5:" + "0" * 64, "line 1"),
        ("app sha256:" + "G" * 64, "line 1"),
        ("my app sha256:" + "0" * 64, "line 1"),
        (f"app {TOKEN}", "line 1"),
        ("é sha256:" + "0" * 64, "line 1"),
        ("app sha256:" + "0" * 64 + "\n" + "#" * (1 << 20), "larger than 1,048,576 bytes"),
    ],
)
def test_a_file_that_cannot_be_read_stops_the_start(tmp_path: Path, text: str, said: str) -> None:
    path = tmp_path / "tokens"
    path.write_text(text, "utf-8")
    with pytest.raises(
        settings.ConfigurationError, match=f"SHORTWAY_TOKENS_FILE, .*{said}"
    ) as caught:
        create_app({"TOKENS_FILE": str(path)})
    assert TOKEN not in str(caught.value)


def test_no_file_stops_the_start(tmp_path: Path) -> None:
    with pytest.raises(settings.ConfigurationError, match="No such file"):
        create_app({"TOKENS_FILE": str(tmp_path / "nothing")})


def test_rotation_wants_no_restart(client: FlaskClient, file: Path) -> None:
    for held in ([OLD], [OLD, NEW], [NEW]):
        written(file, *(tokens.token_line("app", token) for token in held))
        passed = [token for token in (OLD, NEW, TOKEN) if status(client, token) == 200]
        assert passed == held


@pytest.mark.parametrize("broken", ["", "app sha256:12", "\0", "# none"])
def test_a_broken_file_keeps_the_old_tokens_and_says_so_once(
    client: FlaskClient, file: Path, broken: str, caplog: pytest.LogCaptureFixture
) -> None:
    file.write_text(broken)
    assert [status(client, TOKEN) for _ in range(3)] == [200, 200, 200]
    assert len([r for r in caplog.records if r.name == "shortway.api.middleware.token_store"]) == 1
    assert "is ignored" in caplog.text
    written(file, tokens.token_line("app", NEW))
    assert (status(client, TOKEN), status(client, NEW)) == (401, 200)


def test_a_file_that_is_gone_keeps_the_old_tokens(client: FlaskClient, file: Path) -> None:
    file.unlink()
    assert status(client, TOKEN) == 200


def test_a_token_that_was_revoked_stays_so_in_a_worker_that_begins_later(file: Path) -> None:
    """Both workers are copies of the first process's store, as a fork makes them."""
    store = tokens.TokenStore(str(file))
    ended, begins_later = copy(store), copy(store)
    written(file, tokens.token_line("app", NEW))
    assert (ended.owner(TOKEN), ended.owner(NEW)) == (None, "app")
    file.write_text("broken")
    assert (begins_later.owner(TOKEN), begins_later.owner(NEW)) == (None, "app")
    assert tokens.TokenStore(str(file)).owner(NEW) == "app"  # as on SIGHUP


def test_a_mounted_secret_is_followed_when_its_link_moves(tmp_path: Path) -> None:
    """As Kubernetes renews a mounted secret: the folder behind a link is another one."""
    for name, token in (("1", OLD), ("2", NEW)):
        (tmp_path / name).mkdir()
        written(tmp_path / name / "tokens", tokens.token_line("app", token))
        os.utime(tmp_path / name / "tokens", (1, 1))
    (tmp_path / "now").symlink_to(tmp_path / "1")
    client = create_app({"TOKENS_FILE": str(tmp_path / "now" / "tokens")}).test_client()
    assert status(client, OLD) == 200
    (tmp_path / "next").symlink_to(tmp_path / "2")
    (tmp_path / "next").replace(tmp_path / "now")
    assert (status(client, OLD), status(client, NEW)) == (401, 200)


# --- the command, and where one may listen --------------------------------------------------------


def test_the_command_makes_a_token_and_its_line(tmp_path: Path) -> None:
    made = [CliRunner().invoke(main, ["token", "phone-app"]) for _ in range(2)]
    assert [result.exit_code for result in made] == [0, 0]
    assert made[0].stderr != made[1].stderr
    token, line = made[0].stderr.strip(), made[0].stdout.strip()
    path = written(tmp_path / "tokens", line)
    ring = tokens.TokenStore(str(path))
    assert (ring.owner(token), ring.owner(token + "x")) == ("phone-app", None)
    assert token not in line


@pytest.mark.parametrize("name", ["", "two words", "#x", "-x", "é", "x" * 65])
def test_the_command_refuses_a_name_that_the_file_could_not_hold(name: str) -> None:
    result = CliRunner().invoke(main, ["token", "--", name])
    assert (result.exit_code, result.stdout) == (2, "")


LOOPBACK = ["127.0.0.1", "127.9.9.9", "::1", "localhost"]
ELSEWHERE = [
    "0.0.0.0",
    "::",
    "10.0.0.1",
    "192.168.1.2",
    "example.org",
    "127.0.0.1.example",
    "2130706433",
]


@pytest.mark.parametrize("host", LOOPBACK)
def test_this_machine_needs_no_tokens(host: str) -> None:
    assert gunicorn_settings(settings.load_config({"SHORTWAY_HOST": host}))["bind"]


@pytest.mark.parametrize("host", ELSEWHERE)
def test_listening_elsewhere_needs_tokens_or_a_word(host: str, file: Path) -> None:
    where = {"SHORTWAY_HOST": host}
    with pytest.raises(settings.ConfigurationError, match=r"SHORTWAY_TOKENS_FILE.*SHORTWAY_OPEN=1"):
        gunicorn_settings(settings.load_config(where))
    for more in ({"SHORTWAY_OPEN": "1"}, {"SHORTWAY_TOKENS_FILE": str(file)}):
        assert gunicorn_settings(settings.load_config(where | more))["bind"]


@pytest.mark.parametrize("environment", [{}, {"SHORTWAY_TOKENS_FILE": "/nothing"}])
def test_serve_says_why_it_does_not_start(environment: dict[str, str]) -> None:
    result = CliRunner().invoke(main, ["serve", "--host", "0.0.0.0"], env=environment)
    assert result.exit_code == 2
    assert result.stderr.startswith("Error: ")
    assert len(result.stderr.splitlines()) == 1
