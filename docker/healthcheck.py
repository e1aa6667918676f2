"""Whether the service in this container lives: exit code 0 if GET /healthz answers 200.

    python healthcheck.py

Knows the standard library and SHORTWAY_PORT.
"""

import os
import sys
from http.client import HTTPConnection, HTTPException


def status(port: int) -> int:
    """The status that the service on this machine answers with; 0 if it does not."""
    connection = HTTPConnection("127.0.0.1", port, timeout=2)
    try:
        connection.request("GET", "/healthz")
        return connection.getresponse().status
    except (OSError, HTTPException):
        return 0
    finally:
        connection.close()


if __name__ == "__main__":
    sys.exit(status(int(os.environ.get("SHORTWAY_PORT") or 8000)) != 200)
