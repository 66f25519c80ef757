"""Canonical JSON is checked against the examples of RFC 8785, and against Python's own reader."""

import json
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from evenhand.records._refusals import RecordError
from evenhand.records.canonical import LARGEST_WHOLE, canonical, digest, number

# RFC 8785, appendix B, "Number Serialization Samples": the bits of a double, and how it is written (from memory).
SAMPLES = """
0000000000000000 0
8000000000000000 0
0000000000000001 5e-324
8000000000000001 -5e-324
7fefffffffffffff 1.7976931348623157e+308
ffefffffffffffff -1.7976931348623157e+308
4340000000000000 9007199254740992
c340000000000000 -9007199254740992
4430000000000000 295147905179352830000
44b52d02c7e14af5 9.999999999999997e+22
44b52d02c7e14af6 1e+23
44b52d02c7e14af7 1.0000000000000001e+23
444b1ae4d6e2ef4e 999999999999999700000
444b1ae4d6e2ef4f 999999999999999900000
444b1ae4d6e2ef50 1e+21
3eb0c6f7a0b5ed8c 9.999999999999997e-7
3eb0c6f7a0b5ed8d 0.000001
41b3de4355555553 333333333.3333332
41b3de4355555554 333333333.33333325
41b3de4355555555 333333333.3333333
41b3de4355555556 333333333.3333334
41b3de4355555557 333333333.33333343
becbf647612f3696 -0.0000033333333333333333
43143ff3c1cb0959 1424953923781206.2
"""


@pytest.mark.parametrize("line", SAMPLES.split("\n")[1:-1])
def test_numbers_of_rfc_8785(line):
    bits, written = line.split()
    assert number(struct.unpack(">d", bytes.fromhex(bits))[0]) == written


@pytest.mark.parametrize("bits", ["7fffffffffffffff", "7ff0000000000000"])
def test_rfc_8785_refuses_what_is_no_number(bits):
    with pytest.raises(RecordError, match="not a finite number"):
        number(struct.unpack(">d", bytes.fromhex(bits))[0])


def test_keys_are_sorted_as_in_rfc_8785():
    # RFC 8785, section 3.2.3: sorted by UTF-16 code units (from memory).
    keys = {
        "\u20ac": "Euro Sign",
        "\r": "Carriage Return",
        "\ufb33": "Hebrew Letter Dalet With Dagesh",
        "1": "One",
        "\U0001f600": "Emoji: Grinning Face",
        "\u0080": "Control",
        "\u00f6": "Latin Small Letter O With Diaeresis",
    }
    order = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]
    assert list(json.loads(canonical(keys)).values()) == order


def test_text_is_escaped_as_in_rfc_8785():
    # RFC 8785, section 3.2.2: the string of its example (from memory).
    text = '\u20ac$\u000f\nA\'B"\\\\"/'
    assert canonical({"string": text}) == '{"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'.encode()
    assert canonical([56, {"b": None, "a": [True, False]}]) == b'[56,{"a":[true,false],"b":null}]'


values = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-LARGEST_WHOLE, LARGEST_WHOLE)
    | st.floats(allow_nan=False, allow_infinity=False)
    | st.text(st.characters(exclude_categories=["Cs"])),
    lambda inner: st.lists(inner) | st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), inner),
    max_leaves=20,
)


@given(values)
def test_what_is_written_reads_back_as_it_was(value):
    # JSON knows one kind of number, a double (RFC 8785, section 3.2.2.3).
    assert json.loads(canonical(value), parse_int=float) == value


@given(st.dictionaries(st.text(st.characters(exclude_categories=["Cs"])), st.integers(0, 9)))
def test_the_order_of_keys_does_not_matter(value):
    assert digest(value) == digest(dict(reversed(value.items())))


def test_a_whole_number_is_written_alike_as_float_and_int():
    assert canonical([18.0, 36.0]) == canonical([18, 36])


@pytest.mark.parametrize("value", [LARGEST_WHOLE + 1, {1: "a"}, {"a", "b"}, "\ud800", b"bytes"])
def test_what_cannot_be_told_apart_is_refused(value):
    with pytest.raises(RecordError):
        canonical(value)
