"""Answers for a page's own script instead of for people: JSON, marked as this log's own."""

from typing import Any

from flask import jsonify, request
from werkzeug.wrappers import Response

BLUEPRINT = "outbox"
"""The pages that a tablet's script asks, and no person."""


def speaks_json() -> bool:
    """Whether this request comes from a script that reads JSON."""
    return request.blueprint == BLUEPRINT


def spoken(status: int = 200, **content: Any) -> Response:
    """An answer that no login page of a network in between could give by chance."""
    response: Response = jsonify(log="qc", **content)
    response.status_code = status
    return response
