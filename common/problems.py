"""Errors as RFC 9457 problem details, each with a stable `code`."""

import math
from collections.abc import Sequence
from typing import Any

from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, JsonResponse
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import set_rollback

CONTENT_TYPE = "application/problem+json"


class Problem(Exception):
    """A refusal with a status, a stable code, one sentence, and where it applies the fields.

    errors: rows of `{"field": JSON pointer, "value": …, "limit": …, "code": …, "detail": …}`.
    """

    def __init__(
        self,
        code: str,
        detail: str,
        *,
        status: int = status.HTTP_400_BAD_REQUEST,
        errors: Sequence[dict[str, Any]] = (),
        headers: dict[str, str] | None = None,
        **members: Any,
    ) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.status = status
        self.errors = list(errors)
        self.headers = headers or {}
        self.members = members

    def body(self) -> dict[str, Any]:
        """The problem details object."""
        body: dict[str, Any] = {
            "type": f"/docs/problems/#{self.code}",
            "title": self.code.replace("_", " ").capitalize(),
            "status": self.status,
            "code": self.code,
            "detail": self.detail,
        }
        if self.errors:
            body["errors"] = self.errors
        return body | self.members


def field_error(
    field: str, code: str, detail: str, *, value: Any = None, limit: Any = None
) -> dict[str, Any]:
    """One refused field. `field` is a JSON pointer into the body (RFC 6901)."""
    return {"field": field, "code": code, "detail": detail, "value": value, "limit": limit}


def pointer(parts: Sequence[str | int]) -> str:
    """JSON pointer (RFC 6901) from path parts."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def problem_response(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception handler. Anything unforeseen is left to Django, which logs it and answers 500."""
    problem = _as_problem(error)
    if problem is None:
        return None
    set_rollback()
    return Response(problem.body(), status=problem.status, headers=problem.headers, content_type=CONTENT_TYPE)


def problem_json(problem: Problem) -> JsonResponse:
    """The same answer outside DRF."""
    return JsonResponse(
        problem.body(), status=problem.status, headers=problem.headers, content_type=CONTENT_TYPE
    )


def failed_json(request: HttpRequest) -> JsonResponse:
    """500 under the API, where something unforeseen went wrong; the log has it."""
    return problem_json(
        Problem("failed", "Something went wrong on this side. Send it again later.", status=500)
    )


def bad_request_json(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    """400 for a request that no view was asked about, such as one to a host that is not ours."""
    return problem_json(Problem("refused", "This server does not take such a request.", status=400))


def not_found_json(request: HttpRequest, exception: Exception | None = None) -> JsonResponse:
    """404 for an unknown address under the API."""
    return problem_json(Problem("not_found", "There is nothing at this address for you.", status=404))


def _as_problem(error: Exception) -> Problem | None:
    if isinstance(error, Problem):
        return error
    if isinstance(error, Http404):
        return Problem("not_found", "There is nothing at this address for you.", status=404)
    if isinstance(error, PermissionDenied):
        return Problem("not_permitted", "Your role may not do this.", status=403)
    if isinstance(error, exceptions.ValidationError):
        return Problem(
            "invalid", "Some fields cannot be taken as they are.", errors=_validation_rows(error.detail, [])
        )
    if isinstance(error, exceptions.APIException):
        return _from_api_exception(error)
    return None


def _from_api_exception(error: exceptions.APIException) -> Problem:
    codes = {
        exceptions.NotAuthenticated: "not_signed_in",
        exceptions.AuthenticationFailed: "token_refused",
        exceptions.PermissionDenied: "not_permitted",
        exceptions.NotFound: "not_found",
        exceptions.MethodNotAllowed: "method_not_allowed",
        exceptions.ParseError: "not_json",
        exceptions.UnsupportedMediaType: "media_type",
        exceptions.NotAcceptable: "not_acceptable",
        exceptions.Throttled: "too_many_requests",
    }
    code = next((code for kind, code in codes.items() if isinstance(error, kind)), "refused")
    headers = {}
    if challenge := getattr(error, "auth_header", None):
        headers["WWW-Authenticate"] = challenge
    if wait_s := getattr(error, "wait", None):
        headers["Retry-After"] = str(math.ceil(wait_s))
    return Problem(code, str(error.detail), status=error.status_code, headers=headers)


def _validation_rows(detail: Any, path: list[str | int]) -> list[dict[str, Any]]:
    if isinstance(detail, dict):
        return [row for key, item in detail.items() for row in _validation_rows(item, [*path, key])]
    if isinstance(detail, list) and any(isinstance(item, dict | list) for item in detail):
        return [row for index, item in enumerate(detail) for row in _validation_rows(item, [*path, index])]
    items = detail if isinstance(detail, list) else [detail]
    return [
        field_error(pointer(path), getattr(item, "code", "invalid") or "invalid", str(item)) for item in items
    ]
