"""What is answered where nothing is, or where something broke: problem details under the API, else a page."""

from django.http import HttpRequest, HttpResponse
from django.views import defaults

from common.problems import bad_request_json, failed_json, not_found_json

API = "/api/"


def bad(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer 400: the request itself is odd, such as a host that is not ours."""
    if request.path.startswith(API):
        return bad_request_json(request, exception)
    return defaults.bad_request(request, exception)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer 404."""
    if request.path.startswith(API):
        return not_found_json(request, exception)
    return defaults.page_not_found(request, exception)


def failed(request: HttpRequest) -> HttpResponse:
    """Answer 500."""
    return failed_json(request) if request.path.startswith(API) else defaults.server_error(request)
