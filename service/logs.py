"""The log: one JSON object a line on standard error, each with the id of its request."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Any, Final

from service.trace import request_id, trace_id

_OWN: Final = frozenset(logging.makeLogRecord({}).__dict__) | {"message", "asctime", "taskName"}


class JsonLines(logging.Formatter):
    """Writes a record as one line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """The line."""
        line: dict[str, Any] = {
            "time": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "logger": record.name,
            "message": record.getMessage(),
            "request_id": request_id(),
        }
        if (trace := trace_id()) is not None:
            line["trace_id"] = trace
        line.update({key: value for key, value in vars(record).items() if key not in _OWN})
        if record.exc_info:
            line["exception"] = self.formatException(record.exc_info)
        return json.dumps(line, default=str)


def log_to_stderr(level: int) -> None:
    """Send what the service and its server log to standard error, from this level up."""
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    for name in ("lineworthy", "uvicorn"):
        logging.getLogger(name).setLevel(level)
