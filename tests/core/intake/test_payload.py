"""Foreign bytes become JSON the same way every time."""

from __future__ import annotations

import pytest

from kuraban.core.intake.payload import (
    DEEPEST,
    Twice,
    document_of,
    follow,
    head_of,
    json_of,
    nearest,
    pointer_of,
    printable,
    safe,
    show,
    text_of,
    untwice,
)

# RFC 6901 (Bryan, Zyp, Nottingham 2013), section 5
DOCUMENT = json_of(
    r'{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}'
)


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", DOCUMENT), ("/foo", ["bar", "baz"]), ("/foo/0", "bar"), ("/", 0), ("/a~1b", 1),
        ("/c%d", 2), ("/e^f", 3), ("/g|h", 4), ("/i\\j", 5), ('/k"l', 6), ("/ ", 7), ("/m~0n", 8),
    ],
)  # fmt: skip
def test_pointers_find_what_their_standard_says(pointer: str, value: object) -> None:
    assert follow(DOCUMENT, pointer_of(pointer)) == value  # RFC 6901, section 5


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/-", "/foo/01", "/foo/+1", "/bar", "/foo/0/x"])
def test_a_pointer_to_nothing_says_so(pointer: str) -> None:
    with pytest.raises(LookupError):
        follow(DOCUMENT, pointer_of(pointer))


def test_a_tilde_before_one_is_read_in_the_right_order() -> None:
    """ "~01" is "~1", not "/" (RFC 6901, section 4)."""
    assert pointer_of("/~01") == ("~1",)


@pytest.mark.parametrize("pointer", ["foo", "/a~2", "/a~", "#/foo"])
def test_what_is_no_pointer_is_refused(pointer: str) -> None:
    with pytest.raises(ValueError, match="no JSON Pointer"):
        pointer_of(pointer)


def test_a_member_told_twice_has_no_value() -> None:
    assert json_of('{"a":1,"a":1}') == Twice("a")
    with pytest.raises(ValueError, match='"a" is there twice'):
        untwice(json_of('{"a":1,"a":1}'))
    with pytest.raises(ValueError, match='"a" is there twice'):
        follow(json_of('{"b":{"a":1,"a":1}}'), ("b", "a"))


def test_nesting_ends_at_the_stated_depth_and_not_where_the_stack_does() -> None:
    assert json_of("[" * DEEPEST + "]" * DEEPEST)
    for deep in (DEEPEST + 1, 900, 100_000):
        with pytest.raises(ValueError, match="32 deep"):
            json_of("[" * deep + "]" * deep)
        with pytest.raises(ValueError, match="32 deep"):
            json_of("[" * deep)
    with pytest.raises(ValueError, match="not JSON"):
        json_of('{"a": "' + "[" * 40 + '", "b": }')


def test_a_number_of_any_length_is_a_number() -> None:
    assert json_of("[1, 123456789012345678901]") == [1, 123456789012345678901.0]
    assert json_of("9" * 5000) == float("inf")


@pytest.mark.parametrize("text", ["10.46", "-.5", "5.", "+1e1", "007"])
def test_a_number_as_boards_print_it_is_read(text: str) -> None:
    assert document_of(text) == float(text)


def test_wide_digits_are_no_number() -> None:
    with pytest.raises(ValueError, match="is no number"):
        document_of("２０")


def test_text_is_plain_utf8_without_ends() -> None:
    assert text_of("  泡\r\n".encode()) == "泡"


def test_the_head_of_a_payload_shows_every_byte() -> None:
    assert head_of(b"10\xff" + b"x" * 300) == "10\\xff" + "x" * 253


def test_a_foreign_text_can_always_be_written() -> None:
    assert safe("a\ud800b") == "a\\ud800b"
    assert show("x" * 100).endswith("…")
    assert [show(value) for value in (True, None, 10.460, [])] == [
        "true",
        "null",
        "10.46",
        "a list",
    ]


def test_japanese_spacing_is_printable_and_control_marks_are_not() -> None:
    assert printable("泡が　軽い") and printable("Aki")
    assert not any(
        printable(text) for text in ("", "  ", "a\nb", "a\x1b[2J", "\u202eabc", "\ud800")
    )


def test_the_nearest_name_comes_first() -> None:
    assert nearest("tank-33", ["chiller-1", "tank-3", "bed"]).startswith("tank-3,")
    assert nearest("x", []) == "none"
    assert nearest("p", [f"p{n}" for n in range(12)]).endswith("and 4 more")


def test_a_number_has_at_most_so_many_characters() -> None:
    """Of 128 zeroes with a letter the letter is wrong, of 129 their number."""
    for length, wrong in ((128, False), (129, True)):
        with pytest.raises(ValueError) as refused:
            document_of("0" * (length - 1) + "x")
        assert ("at most 128 characters" in str(refused.value)) is wrong


def test_what_is_shown_is_cut_to_its_length() -> None:
    assert show("x" * 61) == '"' + "x" * 60 + '"…'


def test_a_payload_may_be_as_long_as_a_week_of_readings_and_no_longer() -> None:
    assert len(text_of(b"x" * 256 * 1024)) == 256 * 1024
    with pytest.raises(ValueError, match="payload has 262145 bytes; at most 262144 are read"):
        text_of(b"x" * (256 * 1024 + 1))


@pytest.mark.parametrize(
    ("payload", "words"),
    [
        (b"\xef\xbb\xbf10", "byte order mark"),
        (b"\xff\xfe1", "byte order mark"),
        (b"10\x00", "null byte"),
        (b"10\xff", "byte 3 is not UTF-8"),
        (b" \r\n", "payload is empty"),
    ],
)
def test_bytes_that_are_no_text_are_told_what_is_wrong(payload: bytes, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        text_of(payload)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("10,4", "write 10.4 with a point"),
        ("On", "send true or false"),
        ("10.4 C", "send 10.4 alone"),
        ("1_000", "send the number alone"),
        ("warm", "send the number alone"),
        ("a,b", "send the number alone"),
    ],
)
def test_a_text_that_is_no_number_is_told_what_would_be(text: str, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        document_of(text)


def test_true_and_false_are_what_they_say() -> None:
    assert document_of("true") is True and document_of("false") is False
    assert document_of('"true"') == "true" and document_of('{"a":1}') == {"a": 1}


def test_a_fault_in_json_is_told_with_its_character() -> None:
    with pytest.raises(ValueError, match="at character 7"):
        json_of('{"a":1')
    with pytest.raises(ValueError, match='"b" is there twice'):
        untwice(json_of('{"a":1,"b":1,"b":2}'))


def test_whole_numbers_of_fifteen_digits_stay_whole() -> None:
    """Beyond them a float holds no more digits anyhow."""
    assert type(json_of("9" * 15)) is int and type(json_of("9" * 16)) is float


def test_the_names_that_are_left_out_are_counted() -> None:
    assert nearest("p", ["p1", "p2", "p3"], 2).endswith(" and 1 more")
    assert "more" not in nearest("p", ["p1", "p2"], 2)
    assert nearest("p", ["p1"]) == "p1"


def test_a_text_is_cut_only_where_it_is_too_long() -> None:
    assert show("x" * 60) == '"' + "x" * 60 + '"'
    assert safe("x" * 300) == "x" * 200
    assert show(None) == "null" and show(False) == "false" and show(1 / 3) == "0.333333333333"
