"""User and password for the broker: from environment or keyring, never from the plan, never into record or log."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field

from config.errors import bad
from config.stations import Broker


@dataclass(frozen=True)
class Credentials:
    """Who we are to the broker."""

    username: str | None = None
    password: str | None = field(default=None, repr=False)


def credentials(broker: Broker, environment: Mapping[str, str] = os.environ) -> Credentials:
    """Look user and password up.

    The environment goes first (variables named in the plan), then the keyring service named in the plan.

    Raises
    ------
    BadInput where a keyring is asked for and none is there or it holds nothing.
    """
    username = environment.get(broker.username_env) or None
    password = environment.get(broker.password_env) or None
    if broker.keyring_service and password is None:
        try:
            import keyring
        except ImportError:
            raise bad(
                "plan.toml", "broker.keyring_service", broker.keyring_service, "a keyring (pip install keyring)"
            ) from None
        password = keyring.get_password(broker.keyring_service, username or broker.client_id)
        if password is None:
            raise bad(
                "plan.toml",
                "broker.keyring_service",
                broker.keyring_service,
                f"a password for {username or broker.client_id} under this service in the keyring",
            )
        username = username or broker.client_id
    return Credentials(username, password)
