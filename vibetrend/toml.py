"""TOML text, everything wrong with it told in one kind of error."""

import tomllib
from typing import Any

_LARGEST = 2**63  # TOML 1.0: whole numbers of 64 bits have to be taken, others need not


def loads(text: str) -> dict[str, Any]:
    """Return what TOML text holds.

    Raises
    ------
    TOMLDecodeError
        If it is no TOML, is nested deeper than can be followed, or holds a whole number that 64
        bits cannot.
    """
    try:
        values = tomllib.loads(text)
    except RecursionError as error:
        raise tomllib.TOMLDecodeError("it is nested too deeply") from error
    except tomllib.TOMLDecodeError:
        raise
    except ValueError as error:  # Python's own limit to the digits of a number
        raise tomllib.TOMLDecodeError("a number has too many digits") from error
    _refuse_long_numbers(values)
    return values


def _refuse_long_numbers(values: dict[str, Any]) -> None:
    left: list[Any] = [values]
    while left:
        value = left.pop()
        if isinstance(value, dict):
            left.extend(value.values())
        elif isinstance(value, list):
            left.extend(value)
        elif isinstance(value, int) and not -_LARGEST <= value < _LARGEST:
            raise tomllib.TOMLDecodeError("a number has too many digits")
