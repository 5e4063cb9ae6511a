"""The fleet's model as JSON text and back, exact to the last bit."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar, get_type_hints

from fleet.errors import ConflictError
from fleet.stats.fleet_model import FleetModel, TypeModel

FORMAT = 1
"""Number of the text's format; another is refused."""

Part = TypeVar("Part")


def model_text(model: FleetModel) -> str:
    """Write a model as text.

    Parameters
    ----------
    model : FleetModel

    Returns
    -------
    str
        JSON with the format's number; equal models give equal texts.
    """
    content = {
        "format": FORMAT,
        "network": _plain(model.network),
        "types": {code: _plain(kind) for code, kind in model.types.items()},
    }
    return json.dumps(content, sort_keys=True, allow_nan=False, ensure_ascii=False)


def read_model(text: str) -> FleetModel:
    """Read a model from its text.

    Parameters
    ----------
    text : str
        As `model_text` wrote it.

    Returns
    -------
    FleetModel
        Equal to the one written, to the last bit.

    Raises
    ------
    ConflictError
        The text is no model of this format; told is where it is not.
    """
    try:
        content = json.loads(text)
    except ValueError as error:
        raise ConflictError(f"The learned rates are no JSON text: {error}.") from error
    if not isinstance(content, dict) or content.get("format") != FORMAT:
        found = content.get("format") if isinstance(content, dict) else None
        raise ConflictError(f"The learned rates have the format {found!r}; {FORMAT} can be read.")
    if not isinstance(content.get("types"), dict):
        raise ConflictError("The learned rates have no table 'types'.")
    return FleetModel(
        types={code: _read(TypeModel, kind, code) for code, kind in content["types"].items()},
        network=_read(TypeModel, content.get("network"), "network"),
    )


def _plain(part: Any) -> Any:  # a dataclass, or what one holds
    if is_dataclass(part):
        return {field.name: _plain(getattr(part, field.name)) for field in fields(part)}
    return sorted(part) if isinstance(part, frozenset) else part


def _read(kind: type[Part], content: object, where: str) -> Part:
    """Build a dataclass from its table; every field must be there and of its kind."""
    names = {field.name for field in fields(kind)}  # type: ignore[arg-type]  # a dataclass
    if not isinstance(content, Mapping) or set(content) != names:
        expected = ", ".join(sorted(names))
        raise ConflictError(f"The learned rates of {where!r} are not a table of {expected}.")
    hints = get_type_hints(kind)
    return kind(**{n: _value(hints[n], content[n], f"{where}.{n}") for n in content})


def _value(hint: Any, content: Any, where: str) -> Any:  # as the hint of the field says
    if is_dataclass(hint) and isinstance(hint, type):
        return _read(hint, content, where)
    if hint == frozenset[str]:
        if isinstance(content, list) and all(isinstance(name, str) for name in content):
            return frozenset(content)
        raise ConflictError(f"The learned rates have no list of names at {where!r}.")
    if isinstance(content, bool) or not isinstance(content, int | float):
        raise ConflictError(f"The learned rates have no number at {where!r}.")
    if hint is int and not isinstance(content, int):
        raise ConflictError(f"The learned rates have no whole number at {where!r}.")
    return content
