"""One line for each request, as JSON, with nothing in it that is anybody's own.

No key, no token, no query and no id of a record: the address stands as its route's template, and of a place
asked about only the degree and its tenth are left, some ten kilometres.
"""

import datetime as dt
import json
import logging
import re
import traceback
from typing import Any

REQUESTS = logging.getLogger("noonframe.requests")
_PLACE = re.compile(rb"(?:^|&)(latitude_deg|longitude_deg)=([+-]?\d{1,3}(?:\.\d{0,12})?)(?=&|$)")


def rounded_place(query: bytes) -> dict[str, float]:
    """The coordinates in a query, to a tenth of a degree."""
    return {
        name.decode(): round(float(number), 1) + 0.0
        for name, number in _PLACE.findall(query[:8192])  # + 0.0: no minus before a nought
    }


def log_request(fields: dict[str, Any]) -> None:
    """One request, if anybody listens."""
    REQUESTS.info("request", extra={"noonframe": fields})


class JsonLines(logging.Formatter):
    """Log records as one JSON object a line; of an error the frames and its kind, never its text."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        at = dt.datetime.fromtimestamp(record.created, dt.UTC)
        told: dict[str, Any] = {
            "at": at.isoformat(timespec="milliseconds").replace("+00:00", "Z"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            **getattr(record, "noonframe", {}),
        }
        if record.exc_info and record.exc_info[0] is not None:
            told["error"] = record.exc_info[0].__name__
            told["frames"] = traceback.format_tb(record.exc_info[2])
        return json.dumps(told, ensure_ascii=False, allow_nan=False)
