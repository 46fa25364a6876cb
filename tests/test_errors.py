"""Errors tell the operator the file, the key, what is wrong and what would be right."""

from __future__ import annotations

import pickle

import pytest

from kuraban import errors
from kuraban.errors import (
    BrokerError,
    ConfigurationError,
    Fault,
    ImpossibleTransition,
    JournalError,
    KurabanError,
    MachineError,
    OperatorError,
    OurError,
    OutOfRange,
    RecordingError,
)

PARENTS = {
    ConfigurationError: OperatorError,
    RecordingError: OperatorError,
    OutOfRange: OperatorError,
    JournalError: MachineError,
    BrokerError: MachineError,
    ImpossibleTransition: OurError,
}

BAND = Fault("site.toml", "place[2].band", "8.0 is below 1.0", "the lower end comes first")
COOLER = Fault("site.toml", "place[0].cooler", "no cooler 'chiler-1'", "did you mean 'chiller-1'?")


@pytest.mark.parametrize(("child", "parent"), PARENTS.items())
def test_every_error_is_the_operators_the_machines_or_ours(
    child: type[KurabanError], parent: type[KurabanError]
) -> None:
    """Three parents under one root, and no child of two of them."""
    assert issubclass(child, parent)
    others = {OperatorError, MachineError, OurError} - {parent}
    assert not any(issubclass(child, other) for other in others)


def test_the_tree_is_drawn_whole_at_the_top_of_the_file() -> None:
    """Whoever adds an error draws it: every class stands in the module's docstring."""
    drawn = errors.__doc__ or ""
    defined = {
        name
        for name, thing in vars(errors).items()
        if isinstance(thing, type) and issubclass(thing, KurabanError)
    }
    assert {name for name in defined if name not in drawn} == set()


def test_a_fault_is_one_line_of_file_key_wrong_and_right() -> None:
    """The shape that `kuraban check` prints."""
    assert str(BAND) == "site.toml: place[2].band: 8.0 is below 1.0; the lower end comes first"


def test_a_bad_configuration_says_every_fault_at_once() -> None:
    """One line a fault, and the faults themselves for whoever wants to show them otherwise."""
    error = ConfigurationError(iter([COOLER, BAND]))
    assert str(error) == f"{COOLER}\n{BAND}"
    assert error.faults == (COOLER, BAND)
    assert pickle.loads(pickle.dumps(error)).faults == (COOLER, BAND)


def test_a_fault_once_found_stays_as_it_was_found() -> None:
    """Faults are frozen."""
    with pytest.raises(AttributeError):
        BAND.right = "whatever"  # type: ignore[misc]


def test_an_argument_out_of_range_is_also_a_plain_value_error() -> None:
    """Who only knows Python catches it too."""
    with pytest.raises(ValueError, match="too hot"):
        raise OutOfRange("too hot")
