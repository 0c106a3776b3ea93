"""One representation under a strong entity tag, compressed where the client takes it (RFC 9110)."""

import gzip
import hashlib

from django.http import HttpRequest, HttpResponse
from django.utils.cache import patch_vary_headers

LEAST_COMPRESSED = 512
"""Bytes under which compressing gains nothing."""


def conditional_answer(
    request: HttpRequest, body: bytes, *, content_type: str = "application/json", revision: int | None = None
) -> HttpResponse:
    """The body, or 304 without one where `If-None-Match` names it.

    The tag is a hash of what is sent, so that the compressed form has a tag of its own (8.8.1); either form's
    tag stands for the same state, and If-None-Match compares weakly (13.1.2). Private: what one person may
    see is kept by no cache on the way, and asked for again before it is used. Where it has a `revision`, the
    tag begins with it: `"7-…"`.
    """
    mark = ("" if revision is None else f"{revision}-") + hashlib.sha256(body).hexdigest()[:32]
    compressed = len(body) >= LEAST_COMPRESSED and takes_gzip(request.headers.get("Accept-Encoding", ""))
    tag = f'"{mark}-gzip"' if compressed else f'"{mark}"'
    if names_any(request.headers.get("If-None-Match", ""), {f'"{mark}"', f'"{mark}-gzip"'}):
        answer = HttpResponse(status=304)
        del answer["Content-Type"]
    else:
        answer = HttpResponse(_compressed(body) if compressed else body, content_type=content_type)
        if compressed:
            answer["Content-Encoding"] = "gzip"
    answer["ETag"] = tag
    answer["Cache-Control"] = "private, no-cache"
    patch_vary_headers(answer, ["Accept-Encoding", "Authorization", "Cookie"])
    return answer


def names_any(header: str, tags: set[str]) -> bool:
    """Whether a list of entity tags names one of these, by weak comparison; `*` names any."""
    named = {tag.strip().removeprefix("W/") for tag in header.split(",")}
    return "*" in named or bool(named & tags)


def takes_gzip(header: str) -> bool:
    """Whether Accept-Encoding takes gzip: named, or by `*`, with a weight above 0 (RFC 9110, 12.5.3)."""
    weights = dict(_weighted(item) for item in header.split(",") if item.strip())
    return weights.get("gzip", weights.get("x-gzip", weights.get("*", 0.0))) > 0.0


def _weighted(item: str) -> tuple[str, float]:
    coding, _, parameters = item.partition(";")
    name, _, weight = parameters.strip().partition("=")
    try:
        share = float(weight) if name.strip().lower() == "q" else 1.0
    except ValueError:
        share = 0.0
    return coding.strip().lower(), share


def _compressed(body: bytes) -> bytes:
    # Without a time of its own, so that one state always has one form.
    return gzip.compress(body, compresslevel=6, mtime=0)
