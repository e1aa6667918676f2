"""Batches: many paths in one call, streamed both ways."""

from __future__ import annotations

from collections.abc import Iterator

from flask import Response, current_app, request

from shortway.api.http import request_body as bodies
from shortway.api.http import streaming_body as incoming
from shortway.api.http.responses import negotiate, with_no_store
from shortway.api.middleware import deadline, places
from shortway.api.resource import Resource
from shortway.api.telemetry import metrics
from shortway.batch import stream

JSON_LINES = ("application/jsonl", "application/x-ndjson")
GZIP = ("gzip", "x-gzip")

calls = Resource("batches", "Many charts in one call, as JSON Lines")


@calls.stream("/v1/batches", "findPaths", JSON_LINES)
def find_paths() -> Response:
    """Find a path for each line

    Each line of the body is a paths request with a string `id`; each line of the answer is the
    `id` with its `path`, or with the number of the `line` (from 1) and its `problem`; `id` is null
    where it could not be read. Answers come in the order of the lines, while the body is still
    being sent: a client that sends everything before it reads anything has to send in portions.
    Blank lines are skipped; a line may have 1 MiB, the body as many lines as it likes. A problem
    does not end the batch, unless the body itself breaks off or is not gzip. The body may be
    packed as gzip; the answer is, where Accept-Encoding takes it.
    """
    given = bodies.check_content_type(*JSON_LINES, encodings=("identity", *GZIP))
    kind = negotiate((given, *JSON_LINES))
    pieces = incoming.stream_body(request.environ, current_app.config["BATCH_IDLE_SECONDS"])
    pieces = stream.unpacked(pieces) if bodies.content_encoding() in GZIP else pieces
    told = stream.answers(pieces, deadline.answer_lines_in_time())
    return places.held(metrics.count_lines(told), lambda answers: _streamed(answers, kind))


def _streamed(told: Iterator[bytes], kind: str) -> Response:
    """`told` as it comes, packed where that is accepted; proxies are asked not to hold it back."""
    is_packed = request.accept_encodings.quality("gzip") > 0
    response = with_no_store(Response(stream.packed(told) if is_packed else told, mimetype=kind))
    response.headers["Vary"] = "Accept, Accept-Encoding"
    response.headers["X-Accel-Buffering"] = "no"
    if is_packed:
        response.headers["Content-Encoding"] = "gzip"
    return response
