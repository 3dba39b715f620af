"""The hash and the canonical text of journal entries against published values."""

import hashlib
import json

import pytest

from gaugewright.journal.chain import canonical_json, digest

# FIPS 180-4, secure hash standard: the one-block example "abc" and the two-block example
# of the examples with intermediate values for SHA-256; the empty message is the common
# further vector.
SHA_256 = [
    ("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    (
        "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    ("", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
]


@pytest.mark.parametrize(("message", "expected"), SHA_256)
def test_the_hash_is_the_published_sha_256(message, expected):
    assert hashlib.sha256(message.encode()).hexdigest() == expected


def test_an_entry_s_hash_is_sha_256_of_the_hash_before_a_line_feed_and_its_text():
    # A message that is "abc" cannot be made of a hash, a line feed and a text; so the same
    # function is held against the two published steps put together by hand.
    prev_hash, text = SHA_256[0][1], '{"added_l":45.5}'
    by_hand = hashlib.new("sha256")
    by_hand.update(prev_hash.encode("ascii"))
    by_hand.update(b"\x0a")
    by_hand.update(text.encode("utf-8"))

    assert digest(prev_hash, text) == by_hand.hexdigest()


def test_keys_stand_in_the_order_that_rfc_8785_prints():
    # RFC 8785 (JSON Canonicalization Scheme), 3.2.3: input and expected order.
    unsorted = json.loads(
        r"""{
            "\u20ac": "Euro Sign",
            "\r": "Carriage Return",
            "\ufb33": "Hebrew Letter Dalet With Dagesh",
            "1": "One",
            "\ud83d\ude00": "Emoji: Grinning Face",
            "\u0080": "Control",
            "\u00f6": "Latin Small Letter O With Diaeresis"
        }"""
    )
    expected = [
        "Carriage Return",
        "One",
        "Control",
        "Latin Small Letter O With Diaeresis",
        "Euro Sign",
        "Emoji: Grinning Face",
        "Hebrew Letter Dalet With Dagesh",
    ]

    assert list(json.loads(canonical_json(unsorted)).values()) == expected


def test_strings_are_escaped_as_rfc_8785_prints():
    # RFC 8785, 3.2.2: the string and the literals of the sample; its numbers are not
    # compared, because a journal keeps numbers as they were written.
    sample = json.loads(
        r"""{
            "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
            "literals": [null, true, false]
        }"""
    )

    assert canonical_json(sample) == (
        r"""{"literals":[null,true,false],"string":"€$\u000f\nA'B\"\\\\\"/"}"""
    )
