"""Where the broker of a plan is, and how its certificate is checked."""

from __future__ import annotations

import ssl
from pathlib import Path
from urllib.parse import urlsplit

from config.errors import bad
from config.stations import Broker


def broker_address(broker: Broker) -> tuple[str, int, bool]:
    """Host, port and whether TLS is used; raises BadInput where the URL is none or holds credentials.

    >>> broker_address(Broker(url="mqtts://pier.example"))
    ('pier.example', 8883, True)
    """
    if broker.url == "embedded":
        return "127.0.0.1", broker.port, False
    wanted = "embedded, mqtt://host:1883 or mqtts://host:8883"
    try:
        parts = urlsplit(broker.url)
        port = parts.port
    except ValueError:
        raise bad("plan.toml", "broker.url", broker.url, wanted) from None
    if parts.username or parts.password:
        raise bad(
            "plan.toml", "broker.url", None, "no user or password here; they come from the environment or a keyring"
        )
    if parts.scheme not in ("mqtt", "mqtts") or not parts.hostname or parts.path not in ("", "/"):
        raise bad("plan.toml", "broker.url", broker.url, wanted)
    tls = parts.scheme == "mqtts"
    return parts.hostname, port or (8883 if tls else 1883), tls


def tls_context(broker: Broker, folder: Path) -> ssl.SSLContext:
    """TLS with certificate and host name checked; raises BadInput where a file of the plan cannot be used."""
    try:
        context = ssl.create_default_context(cafile=str(folder / broker.ca_file) if broker.ca_file else None)
    except (OSError, ssl.SSLError) as error:
        raise bad(
            "plan.toml", "broker.ca_file", broker.ca_file, f"a file of certificates in PEM form ({error})"
        ) from None
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    if broker.client_certificate:
        key = str(folder / broker.client_key) if broker.client_key else None
        try:
            context.load_cert_chain(str(folder / broker.client_certificate), key)
        except (OSError, ssl.SSLError) as error:
            raise bad(
                "plan.toml",
                "broker.client_certificate",
                broker.client_certificate,
                f"certificate and key in PEM ({error})",
            ) from None
    return context
