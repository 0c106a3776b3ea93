"""Log lines as JSON, each with the request and the visit it belongs to."""

import json
import logging
import re
import traceback
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

from django.http import HttpRequest, HttpResponseBase

HEADER = "X-Request-ID"
_GIVEN = re.compile(r"[A-Za-z0-9._-]{8,64}")
_VISIT = re.compile(r"/visits/([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})/", re.IGNORECASE)
_request_id: ContextVar[str] = ContextVar("request_id", default="")
_visit_id: ContextVar[str] = ContextVar("visit_id", default="")


class RequestIdMiddleware:
    """Give each request an id, the proxy's where it sends a plain one, and answer with it.

    The visit is read off the address, so that every line of a save can be found by the visit's UUID.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self._get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        given = request.headers.get(HEADER, "")
        request_id = given if _GIVEN.fullmatch(given) else uuid.uuid4().hex
        visit = _VISIT.search(request.path)
        tokens = _request_id.set(request_id), _visit_id.set(visit[1].lower() if visit else "")
        try:
            response = self._get_response(request)
        finally:
            _request_id.reset(tokens[0])
            _visit_id.reset(tokens[1])
        response.headers[HEADER] = request_id
        return response


class RequestFilter(logging.Filter):
    """Note on each record the request and the visit it was written for."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Nothing is left out."""
        record.request_id, record.visit_id = _request_id.get(), _visit_id.get()
        return True


class JsonFormatter(logging.Formatter):
    """One JSON object a line: at, level, logger, message, request_id, visit_id, and error where one was."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            "request_id": getattr(record, "request_id", ""),
            "visit_id": getattr(record, "visit_id", ""),
        }
        if record.exc_info:
            line["error"] = "".join(traceback.format_exception(*record.exc_info))
        return json.dumps({name: value for name, value in line.items() if value != ""}, ensure_ascii=False)
