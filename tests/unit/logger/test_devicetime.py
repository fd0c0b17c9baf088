import pytest

from logger.devicetime import device_time, rfc3339, utc_text

NOON = 1_904_990_400 * 1_000_000_000  # 2030-05-14T12:00:00Z


@pytest.mark.parametrize(
    ("sent", "form", "ns"),
    [
        ("2030-05-14T12:00:00Z", "rfc3339", NOON),
        ("2030-05-14t14:30:00.123456789+02:30", "rfc3339", NOON + 123_456_789),
        ("2030-05-14 07:00:00.5-0500", "rfc3339", NOON + 500_000_000),
        ("2030-05-14T11:59:60Z", "rfc3339", NOON),
        (1904990400, "unix_s", NOON),
        (1904990400.25, "unix_s", NOON + 250_000_000),
        ("1904990400.000000001", "unix_s", NOON + 1),
        (1904990400001, "unix_ms", NOON + 1_000_000),
        ("1904990400000001", "unix_us", NOON + 1_000),
        (NOON + 7, "unix_ns", NOON + 7),
    ],
)
def test_times_as_devices_send_them(sent, form, ns):
    assert device_time(sent, form) == ns


@pytest.mark.parametrize(
    ("sent", "form"),
    [
        ("2030-13-14T12:00:00Z", "rfc3339"),
        ("2030-05-14T24:00:00Z", "rfc3339"),
        ("2030-05-14T12:00:00", "rfc3339"),
        ("٢٠٣٠-05-14T12:00:00Z", "rfc3339"),
        ("2030-05-14T12:00:00+99:99", "rfc3339"),
        ("9" * 70, "rfc3339"),
        (5, "rfc3339"),
        (True, "unix_s"),
        (None, "unix_s"),
        (float("nan"), "unix_s"),
        (float("inf"), "unix_s"),
        (-5, "unix_s"),
        (10**30, "unix_s"),
        ("nan", "unix_s"),
        ("1e400", "unix_s"),
        ("", "unix_s"),
        ([], "unix_s"),
        ("1" * 50, "unix_s"),
    ],
)
def test_what_is_no_time_is_none(sent, form):
    assert device_time(sent, form) is None


def test_rfc3339_examples_of_its_section_5_8():
    # RFC 3339 section 5.8: these two pairs name the same moments.
    assert rfc3339("1996-12-19T16:39:57-08:00") == rfc3339("1996-12-20T00:39:57Z")
    assert rfc3339("1990-12-31T15:59:60-08:00") == rfc3339("1990-12-31T23:59:60Z")


def test_times_for_people():
    assert utc_text(NOON + 999_999_999) == "12:00:00Z"
