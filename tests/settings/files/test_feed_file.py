"""Every mistake in a feed's file is told with file, table, key and what would be right."""

from __future__ import annotations

from pathlib import Path

import pytest

from kuraban.errors import ConfigurationError
from kuraban.settings.files.feed_file import read_feed

EXAMPLE = Path(__file__).parents[3] / "deploy" / "feed" / "feed.toml"
LINE = '[[line]]\nid = "chillers"\nhost = "10.0.0.4"\n'
VALUE = '[[value]]\nid = "c1-supply"\nline = "chillers"\nunit = 3\naddress = 1\n'


def read(folder: Path, text: str) -> object:
    (folder / "feed.toml").write_text(text, "utf-8")
    return read_feed(folder / "feed.toml", {})


def test_the_example_can_be_read(tmp_path: Path) -> None:
    (tmp_path / "secrets_feed").write_text("word\n")
    found = read_feed(EXAMPLE, {"CREDENTIALS_DIRECTORY": str(tmp_path)})
    assert found.mqtt.password == "word" and found.mqtt.client_id == "kuraban-feed"
    assert [len(rows) for rows in (found.wires, found.lines, found.values, found.commands)] \
        == [1, 2, 4, 1]  # fmt: skip
    assert found.values[3].order == "CDAB" and found.values[2].inverted
    assert found.buffer == Path("/var/lib/kuraban-feed/feed.buffer") and found.every == 60.0


@pytest.mark.parametrize(
    ("text", "key", "right"),
    [
        ('[[wire]]\nid = "T3"\nrom = "28-0316a2794f1e"', "wire[T3].id", "small letters"),
        ('[[wire]]\nid = "t3"\nrom = "316a"', "wire[t3].rom", "28-0316a2794f1e"),
        (VALUE, "value[c1-supply].line", "[[line]]"),
        (LINE + VALUE.replace('"chillers"', '"chiller"'), "value[c1-supply].line", "chillers"),
        (LINE + VALUE + 'order = "BACD"', "value[c1-supply].order", "ABCD"),
        (LINE + VALUE + 'type = "real"', "value[c1-supply].type", "float32"),
        (LINE + VALUE + "scale = 0", "value[c1-supply].scale", "0.1"),
        (LINE + VALUE + 'type = "bit"', "value[c1-supply].bit", "0 to 15"),
        (LINE + VALUE + "bit = 3", "value[c1-supply].bit", 'type = "bit"'),
        (LINE + VALUE + 'kind = "coil"\nbit = 3', "value[c1-supply].bit", "leave it out"),
        (LINE + VALUE + "inverted = true", "value[c1-supply].inverted", "only a bit"),
        (LINE + VALUE.replace("3", "300"), "value[c1-supply].unit", "less than or equal to 255"),
        (LINE + VALUE + VALUE, "value[c1-supply].id", "one place"),
        (LINE + LINE, "line[chillers].id", "differently"),
        ('[[line]]\nid = "a"', "line[a]", "/dev/ttyUSB0"),
        (LINE + 'device = "/dev/ttyUSB0"', "line[chillers]", "TCP has host"),
        ('[[command]]\nid = "air"\nrun = []', "command[air].run", "run"),
        ('[feed]\nevry = "1m"', "feed.evry", "every"),
        ('[feed]\nevery = "0s"', "feed.every", "above 0"),
        ('[mqtt]\npassword_from = "no"', "mqtt.password_from", "credential:"),
    ],
)  # fmt: skip
def test_a_mistake_is_told_with_what_would_be_right(
    tmp_path: Path, text: str, key: str, right: str
) -> None:
    with pytest.raises(ConfigurationError) as told:
        read(tmp_path, text + "\n")
    (fault,) = told.value.faults
    assert (fault.where, fault.key) == (str(tmp_path / "feed.toml"), key)
    assert right in fault.right


def test_whoever_only_looks_needs_no_password(tmp_path: Path) -> None:
    (tmp_path / "feed.toml").write_text('[mqtt]\npassword_from = "no"\n')
    assert not read_feed(tmp_path / "feed.toml", {}, secrets=False).lines


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(ConfigurationError, match="No such file"):
        read_feed(tmp_path / "feed.toml")
