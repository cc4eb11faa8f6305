"""Answers as JSON: one encoder for all of them."""

import json
from collections.abc import Mapping
from typing import Any


def to_json(answer: Mapping[str, Any]) -> str:
    """The one JSON document of an answer.  NaN has no place in it."""
    return json.dumps(answer, ensure_ascii=False, allow_nan=False, indent=1)
