"""What every address may be answered besides its own answers, added to the description of the API."""

from typing import Any

CONTENT_TYPE = "application/problem+json"
_PROBLEM = {"schema": {"$ref": "#/components/schemas/ProblemDetails"}}
_METHODS = frozenset({"get", "put", "post", "patch", "delete"})
_UNKNOWN_SENDER = "The token is missing, unknown, expired or revoked; at sign-in: name or password is wrong."
_ALWAYS = {
    "401": _UNKNOWN_SENDER,
    "403": "The role may not do this.",
    "406": "This address does not answer in the form asked for.",
    "429": "Too many requests; `Retry-After` says for how many seconds to wait.",
}
_WITH_PATH = {"404": "There is nothing at this address for you."}
_WITH_INPUT = {"400": "Something sent cannot be taken; `errors` names each field with its value and limit."}
_WITH_BODY = {
    "413": "The body is larger than this server takes.",
    "415": "The body is of a type that this address does not take.",
}


def document_refusals(result: dict[str, Any], **_: Any) -> dict[str, Any]:
    """Postprocessing hook of the description: refusals that the framework and the rules for all addresses
    give, each as problem details (RFC 9457)."""
    for path, operations in result["paths"].items():
        for method, operation in operations.items():
            if method in _METHODS:
                _document(path, operation)
    return result


def _document(path: str, operation: dict[str, Any]) -> None:
    responses = operation["responses"]
    for status, response in responses.items():
        if status.startswith(("4", "5")) and "content" in response:
            held = next(iter(response["content"].values()))
            response["content"] = {CONTENT_TYPE: held}
    has_body = "requestBody" in operation
    refusals = dict(_ALWAYS)
    if "{" in path:
        refusals |= _WITH_PATH
    if has_body or operation.get("parameters"):
        refusals |= _WITH_INPUT
    if has_body:
        refusals |= _WITH_BODY
    for status, why in refusals.items():
        told = responses.setdefault(status, {"content": {CONTENT_TYPE: _PROBLEM}})
        told["description"] = told.get("description") or why
