"""RFC 6238, time-based one-time passwords: appendix B, SHA-1; RFC 4226, appendix D.

The tables are of eight digits; the codes of the house are their last six, as both take the
remainder of the same number. From memory, and alike in both RFCs where they meet: 59 s is the
counter 1.
"""

from datetime import UTC, datetime

import pytest

from apiary_sales.accounts import sign_in_codes
from tests.accounts import code_app

KEY = b"12345678901234567890"
TIME_BASED = [
    (59, "94287082"),
    (1111111109, "07081804"),
    (1111111111, "14050471"),
    (1234567890, "89005924"),
    (2000000000, "69279037"),
    (20000000000, "65353130"),
]
COUNTED = [
    (0, "755224"),
    (30, "287082"),
    (60, "359152"),
    (90, "969429"),
    (120, "338314"),
    (150, "254676"),
    (180, "287922"),
    (210, "162583"),
    (240, "399871"),
    (270, "520489"),
]
VECTORS = [(seconds, code[-6:]) for seconds, code in TIME_BASED + COUNTED]


@pytest.mark.parametrize(("seconds", "code"), VECTORS)
def test_the_codes_of_the_rfc_are_right_at_their_time(seconds, code):
    assert sign_in_codes.step_of(code, KEY, seconds=seconds) == seconds // 30


@pytest.mark.parametrize(("seconds", "code"), VECTORS)
def test_the_app_of_the_tests_shows_the_codes_of_the_rfc(seconds, code):
    assert code_app.code_at(datetime.fromtimestamp(seconds, UTC), KEY) == code


@pytest.mark.parametrize(
    ("steps_late", "step"), [(-2, None), (-1, 37037036), (0, 37037036), (1, 37037036), (2, None)]
)
def test_a_clock_may_be_off_by_one_step(steps_late, step):
    seconds = 1111111109 + 30 * steps_late

    assert sign_in_codes.step_of("081804", KEY, seconds=seconds) == step


@pytest.mark.parametrize(("after", "step"), [(37037035, 37037036), (37037036, None)])
def test_a_code_counts_once(after, step):
    assert sign_in_codes.step_of("081804", KEY, seconds=1111111109, after=after) == step


@pytest.mark.parametrize("typed", ["", "81804", "0081804", "08180x", "٠٨١٨٠٤", "-81804"])
def test_what_is_not_six_digits_is_no_code(typed):
    assert sign_in_codes.step_of(typed, KEY, seconds=1111111109) is None


def test_an_app_reads_the_key_with_the_names_of_house_and_person():
    address = sign_in_codes.app_address(KEY, name="odile", house="Clover: Hill & Sons")

    # The base 32 of this key is in many descriptions of the format.
    assert address == (
        "otpauth://totp/Clover%20%20Hill%20%26%20Sons%3Aodile"
        "?secret=GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ&issuer=Clover%20%20Hill%20%26%20Sons"
    )
    assert sign_in_codes.written_key(KEY) == "GEZD GNBV GY3T QOJQ GEZD GNBV GY3T QOJQ"
