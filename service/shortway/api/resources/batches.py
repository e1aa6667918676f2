"""Batches: many paths in one call, streamed both ways."""

from collections.abc import Iterator
from typing import Final

from flask import Response, current_app, request

from shortway.api.http.request_body import JSON_LINES, check_content_type, content_encoding
from shortway.api.http.responses import negotiate, with_no_store
from shortway.api.http.streaming_body import stream_body
from shortway.api.middleware.deadline import answer_lines_in_time
from shortway.api.resource import Resource
from shortway.api.telemetry.metrics import count_lines
from shortway.batch import stream

GZIP: Final = ("gzip", "x-gzip")

calls = Resource("batches", "Many charts in one call, as JSON Lines")


@calls.stream("/v1/batches", "findPaths", JSON_LINES)
def post_batches() -> Response:
    """Find a path for each line

    Each line of the body is a paths request with a string `id`; each line of the response is the
    `id` with its `path`, or with the number of the `line` (from 1) and its `problem`; `id` is null
    where it cannot be read. Lines are answered in order, while the body is still being sent: a
    client that sends everything before it reads anything has to send in portions. Blank lines are
    skipped. A line has at most 1 MiB; lines, bytes and time of the whole batch have limits that
    are set where the service runs. A problem does not end the batch, unless the body itself is
    incomplete, is not gzip or exceeds such a limit. The body may be compressed with gzip; the
    response is, where Accept-Encoding allows it.
    """
    given = check_content_type(*JSON_LINES, encodings=("identity", *GZIP))
    kind = negotiate((given, *JSON_LINES))
    config = current_app.config
    body = stream_body(request.environ, config["BATCH_IDLE_SECONDS"])
    body = stream.decompress(body) if content_encoding() in GZIP else body
    most = config["MAX_BATCH_LINES"], config["MAX_BATCH_MB"] << 20, config["MAX_BATCH_SECONDS"]
    lines = stream.answer_stream(body, answer_lines_in_time(), stream.Limits(*most))
    return _streamed(count_lines(lines), kind)


def _streamed(lines: Iterator[bytes], kind: str) -> Response:
    """A response of `lines`, compressed where that is accepted; proxies must not buffer it."""
    is_gzip = request.accept_encodings.quality("gzip") > 0
    response = with_no_store(Response(stream.compress(lines) if is_gzip else lines, mimetype=kind))
    response.headers["Vary"] = "Accept, Accept-Encoding"
    response.headers["X-Accel-Buffering"] = "no"
    if is_gzip:
        response.headers["Content-Encoding"] = "gzip"
    return response
