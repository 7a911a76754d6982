"""The client of a session's control API in the page's server: it passes on requests of the page and their answers."""

from __future__ import annotations

import http.client
from typing import NamedTuple
from urllib.parse import urlsplit

_PATIENCE = 10.0  # seconds for an answer


class Control(NamedTuple):
    """The address of a session's control API, and its token."""

    url: str
    token: str

    def ask(self, method: str, path: str, body: bytes | None = None) -> tuple[int, bytes]:
        """Status and body. Raises OSError if the session is gone."""
        place = urlsplit(self.url)
        connection = http.client.HTTPConnection(place.hostname or "", place.port, timeout=_PATIENCE)
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        try:
            connection.request(method, path, body, headers)
            answer = connection.getresponse()
            return answer.status, answer.read(1 << 20)
        except http.client.HTTPException as error:
            raise OSError(str(error)) from error
        finally:
            connection.close()
