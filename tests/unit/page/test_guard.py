from __future__ import annotations

import pytest

from quietheel.page.guard import LARGEST_BODY, TOKEN_HEADER, Guard, host_of, new_token, token_matches

GOOD = {
    b"host": b"127.0.0.1:8730",
    b"content-type": b"application/json",
    b"content-length": b"40",
    TOKEN_HEADER: b"secret",
}


def refused(changes: dict[bytes, bytes | None], host: str = "127.0.0.1", method: str = "POST") -> int | None:
    headers = {key: value for key, value in {**GOOD, **changes}.items() if value is not None}
    found = Guard(host, "secret").refusal(method, headers)
    return found[0] if found else None


def test_a_mark_with_everything_right_passes() -> None:
    assert refused({}) is None
    assert refused({b"origin": b"http://127.0.0.1:8730", b"sec-fetch-site": b"same-origin"}) is None


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({TOKEN_HEADER: None}, 403),
        ({TOKEN_HEADER: b"secreT"}, 403),
        ({TOKEN_HEADER: b"\xff\xfe"}, 403),
        ({b"origin": b"http://evil.example"}, 403),
        ({b"origin": b"null"}, 403),
        ({b"origin": b"https://127.0.0.1:8730"}, 403),
        ({b"sec-fetch-site": b"same-site"}, 403),
        ({b"content-type": b"application/x-www-form-urlencoded"}, 415),
        ({b"content-length": str(LARGEST_BODY + 1).encode()}, 413),
        ({b"content-length": None}, 413),
        ({b"content-length": b"-1"}, 413),
        ({b"host": b"rebound.example:8730"}, 421),
        ({b"host": b"192.168.1.9:8730"}, 421),
        ({b"host": None}, 421),
    ],
)
def test_a_mark_with_anything_wrong_is_refused(changes: dict[bytes, bytes | None], status: int) -> None:
    assert refused(changes) == status


def test_reading_needs_no_token_but_the_right_host() -> None:
    assert refused({TOKEN_HEADER: None}, method="GET") is None
    assert refused({b"host": b"rebound.example"}, method="GET") == 421
    assert refused({}, method="DELETE") == 405


def test_beyond_loopback_addresses_are_known_and_foreign_names_are_not() -> None:
    guard = Guard("0.0.0.0", "secret")
    assert guard.host_known("192.168.1.9:8730")
    assert guard.host_known("[fe80::1]:8730")
    assert guard.host_known("localhost:8730")
    assert not guard.host_known("rebound.example:8730")
    assert not Guard("127.0.0.1", None).host_known("192.168.1.9")


def test_without_a_token_nobody_marks() -> None:
    found = Guard("127.0.0.1", None).refusal("POST", {**GOOD, TOKEN_HEADER: b""})
    assert found is not None
    assert found[0] == 403
    assert not token_matches("", "")


def test_tokens_differ_and_are_long() -> None:
    made = {new_token() for _ in range(50)}
    assert len(made) == 50
    assert min(len(token) for token in made) >= 20


def test_host_of_a_bracketed_address() -> None:
    assert host_of("[::1]") == "::1"
