"""Reads the body of a request as a whole, before anything else is done with it.

Knows WSGI, no noun. A batch's body is read while it is answered (`api.http.streaming_body`).
"""

from collections.abc import Iterable
from io import BytesIO
from typing import Final
from wsgiref.types import StartResponse, WSGIEnvironment

from flask import Flask
from werkzeug.wsgi import get_content_length

from shortway.api.http.problems import RequestError
from shortway.request_trace import update_request

#: Timeout in seconds of a client that sends nothing of its body, or has to read its response.
TRANSFER_SECONDS: Final = 30.0
_STREAMED: Final = "/v1/batches"


def is_streamed(environ: WSGIEnvironment) -> bool:
    """Whether the body is read while the request is answered."""
    return bool(environ["PATH_INFO"] == _STREAMED)


def init_body_reader(app: Flask) -> None:
    """Read every body before `app` is called; one that is rejected is noted in its state."""
    application, most = app.wsgi_app, app.config["MAX_CONTENT_LENGTH"]

    def reading(environ: WSGIEnvironment, start_response: StartResponse) -> Iterable[bytes]:
        if "gunicorn.socket" in environ:
            environ["gunicorn.socket"].settimeout(TRANSFER_SECONDS)
        if not is_streamed(environ):
            try:
                body = _read_body(environ, most)
                environ["wsgi.input"] = BytesIO(body)
                update_request(body=body, received=len(body))
            except RequestError as error:
                update_request(rejection=error)
        return application(environ, start_response)

    app.wsgi_app = reading  # type: ignore[method-assign]


def _read_body(environ: WSGIEnvironment, most: int) -> bytes:
    """The body. Raises RequestError."""
    if "HTTP_TRANSFER_ENCODING" in environ:
        raise RequestError("length-required", "this call requires Content-Length, not chunks")
    length = get_content_length(environ) or 0
    if length > most:
        raise RequestError("body-too-large", f"the body is larger than the limit of {most:,} bytes")
    try:
        body: bytes = environ["wsgi.input"].read(length)
    except TimeoutError:
        raise RequestError("request-timeout", "the request did not arrive in time") from None
    except Exception:  # each server has its own for a body that breaks off
        body = b""
    if len(body) < length:
        raise RequestError("body-incomplete", "the body is incomplete: the connection ended")
    return body
