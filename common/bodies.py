"""What a request still sends when its answer is ready, and bodies that do not say how long they are."""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponseBase

from common.problems import Problem, problem_json

MOST_TAKEN = 32_000_000
"""Bytes; more than twice the largest photograph."""
_PART = 65_536


class WholeBodyMiddleware:
    """Take in what a refused request still sends, so that its answer arrives.

    A server that answers and closes while a slow line is still sending resets the line, and the client sees
    no answer but a broken connection: it would send the same again for ever. A body without its length
    (chunked) is refused: the gateway shows it as none at all (RFC 9112, 6.3: 411).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        if "Transfer-Encoding" in request.headers and not request.headers.get("Content-Length"):
            return problem_json(
                Problem("length_required", "Send the body with its Content-Length.", status=411)
            )
        response = self._get_response(request)
        # Who waits for our 100 (Continue) reads this answer before sending anything.
        if response.status_code >= 400 and "Expect" not in request.headers:
            _take(request)
        return response


def _take(request: HttpRequest) -> None:
    taken = 0
    try:
        while taken < MOST_TAKEN and (part := request.read(_PART)):
            taken += len(part)
    except OSError:
        pass  # the client is gone
