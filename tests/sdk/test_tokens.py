"""Tokens of the client: where they are sent, where they do not go, where they do not show."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
import requests

from shortway.api import create_app
from shortway.api.middleware import token_store as tokens
from shortway_client import Client, Refused, ShortwayClientError
from support.loopback import answer, misbehaving, served

TOKEN = "shortway_Zm9yLXRlc3RzLW9ubHktYW5kLW5vd2hlcmUtZWxzZQ"


@pytest.fixture
def url(tmp_path: Path) -> Iterator[str]:
    path = tmp_path / "tokens"
    path.write_text(tokens.token_line("app", TOKEN))
    with served(create_app({"TOKENS_FILE": str(path)})) as address:
        yield address


def test_every_sort_of_call_has_it(url: str) -> None:
    with Client(url, token=TOKEN) as client:
        assert client.get_chord("C7").root == "C"
        assert client.find_path("| Dm7 | G7 |").optimal
        assert [r.path is not None for r in client.find_paths([{"chart": "| C | F |"}])] == [True]
        assert client.write_score("| Dm7 | G7 |", kind="midi")[:4] == b"MThd"


@pytest.mark.parametrize("token", [None, TOKEN[:-1], TOKEN.upper()])
def test_a_call_without_the_right_one_is_refused(url: str, token: str | None) -> None:
    with Client(url, token=token) as client:
        assert client.get_health().status == "ok"
        with pytest.raises(Refused) as caught:
            client.get_chord("C7")
        assert (caught.value.status, caught.value.code) == (401, "unauthorized")
        with pytest.raises(Refused):
            list(client.find_paths([{"chart": "| C |"}]))


@pytest.mark.parametrize("token", ["", " ", "a b", "a\n", "a\r\nX-Evil: 1", "é", '"a"', "Bearer a"])
def test_what_is_no_token_is_refused_and_not_shown(token: str) -> None:
    with pytest.raises(ValueError, match="a token is letters") as caught:
        Client(token=token)
    assert str(caught.value) == "a token is letters, digits and -._~+/ with no blank or line end"


def test_it_does_not_follow_a_redirect() -> None:
    with (
        misbehaving(answer(200, b"{}")) as other,
        misbehaving(answer(307, b"", Location=f"{other.url}/v1/chords")) as first,
        Client(first.url, token=TOKEN, retries=0) as client,
    ):
        with pytest.raises(ShortwayClientError):
            client.get_chord("C7")
        assert first.seen[0].headers["authorization"] == f"Bearer {TOKEN}"
        assert other.seen == []


def test_no_netrc_wins_over_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A session of the caller's own reads .netrc; a token given in words comes first."""
    (tmp_path / "netrc").write_text("machine 127.0.0.1 login somebody password else\n")
    monkeypatch.setenv("NETRC", str(tmp_path / "netrc"))
    with misbehaving(answer(200, b"{}")) as server, requests.Session() as session:
        for token in (None, TOKEN):
            with pytest.raises(ShortwayClientError):
                Client(server.url, token=token, session=session).get_health()
        sent = [seen.headers["authorization"].split()[0] for seen in server.seen]
        assert sent == ["Basic", "Bearer"]


def test_it_is_shown_nowhere(url: str) -> None:
    client = Client(url, token=TOKEN)
    assert TOKEN not in repr(client) + repr(vars(client)) + repr(client._transport)
    with pytest.raises(ShortwayClientError) as caught:
        Client("http://127.0.0.1:9", token=TOKEN, retries=0).get_health()
    assert TOKEN not in repr(caught.value) + str(caught.value)
