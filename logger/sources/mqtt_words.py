"""What a connection to the broker died of, in words that let a person mend it."""

from __future__ import annotations

import re

KEEPALIVE_S = 5
"""A connection that carries nothing is asked for a sign of life after this, and given up as long after the question."""
CONNECT_S = 5.0
"""How long the broker may take to answer one request."""

_WORDS = (
    (
        r"ALERT_CERTIFICATE_REQUIRED",
        "the broker asks for a client certificate; plan.toml names it: broker.client_certificate, broker.client_key",
    ),
    (
        r"ALERT_(?:UNKNOWN_CA|BAD_CERTIFICATE|UNSUPPORTED_CERTIFICATE|CERTIFICATE_\w+|ACCESS_DENIED)\] (?P<what>[^(]+)",
        "the broker does not accept our client certificate, broker.client_certificate of plan.toml ({what})",
    ),
    (
        r"CERTIFICATE_VERIFY_FAILED\].*: (?P<what>.*(?:issuer|self[- ]signed)[^(]*)",
        "the broker's certificate is not accepted ({what}); broker.ca_file of plan.toml names who must have signed it",
    ),
    (r"CERTIFICATE_VERIFY_FAILED\].*: (?P<what>[^(]+)", "the broker's certificate is not accepted ({what})"),
    (r"\[SSL: WRONG_VERSION_NUMBER\]", "the broker speaks no TLS at this port; mqtts:// wants it, mqtt:// does not"),
    # The second are aiomqtt's words, the third paho's; "timed out" alone are those of a socket.
    (
        r"handshake operation timed out|^Operation timed out$|^Keep alive timeout$",
        f"no answer within {CONNECT_S:.0f} s: the broker hangs, or the network between is broken",
    ),
    (r"^timed out$", f"no connection within {CONNECT_S:.0f} s"),
    (
        r"^the broker hung up before it answered$",
        "the broker hung up before it answered; a port with TLS wants mqtts://, a broker without MQTT 5 wants "
        'broker.protocol = "3.1.1"',
    ),
    (
        r"^Session taken over$",
        "another client came under our name and took the session; each needs its own broker.client_id in plan.toml",
    ),
)


def in_words(text: str) -> str:
    """Say what the libraries' ``text`` means; what is not known here is handed on, at most 200 characters of it.

    >>> in_words("[SSL: TLSV13_ALERT_CERTIFICATE_REQUIRED] tlsv13 alert certificate required (_ssl.c:2580)")[:43]
    'the broker asks for a client certificate; p'
    >>> in_words("[Errno 111] Connection refused")
    '[Errno 111] Connection refused'
    """
    for pattern, words in _WORDS:
        found = re.search(pattern, text)
        if found:
            return words.format(**{key: value.strip() for key, value in found.groupdict().items()})
    return " ".join(text.split())[:200]
