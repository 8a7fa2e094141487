"""A plugin of the tests' broker that knows one user; only the broker's own process imports it."""

from __future__ import annotations

from typing import Any

from amqtt.plugins.base import BaseAuthPlugin

from support.mqtt_credentials import PASSWORD, USER


class OneUser(BaseAuthPlugin):
    """Lets USER in, with PASSWORD."""

    async def authenticate(self, *, session: Any) -> bool:
        return (session.username, session.password) == (USER, PASSWORD)
