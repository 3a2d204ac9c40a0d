"""Records as JSON values and back, and the schema of that JSON, all three from the same dataclasses.

A field has the name and type of its dataclass.  A time is text in UTC, a fraction text such as `3/8`; a
figure that is not measurable is null.  What a schema refuses is what no record holds: unknown fields,
missing ones, other types, numbers without end, texts and lists longer than anyone writes.
"""

from __future__ import annotations

import math
import re
import types
from collections.abc import Mapping
from dataclasses import MISSING, fields, is_dataclass
from datetime import UTC, datetime
from fractions import Fraction
from functools import cache
from typing import Annotated, Any, Literal, TypeVar, Union, get_args, get_origin, get_type_hints

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, create_model

from jartest.records.plain_words import PATTERN

__all__ = ["filled", "from_plain", "model_of", "to_plain"]

_T = TypeVar("_T")

_LETTERS = 20_000  # of one text, several pages; our choice
_ITEMS = 5_000  # of one list; our choice
_WHOLE = 2**53  # whole numbers beyond this are not the same in every JSON reader: RFC 8259, section 6

_PATTERNS = {"id": "^[0-9a-f]{32}$", "sha256": "^[0-9a-f]{64}$"}
_TIME = r"^(19|20|21)[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{6})?\+00:00$"
_FRACTION = "^-?[0-9]{1,40}(/[1-9][0-9]{0,39})?$"

_MOST = 1e100  # of any figure; beyond it sums and roundings have no end; our choice

_Number = Annotated[float, Field(allow_inf_nan=False, ge=-_MOST, le=_MOST)]


# ----------------------------------------------------------------------- there
def to_plain(value: Any) -> Any:
    """The value as what JSON holds: dicts, lists, texts, numbers, true, false, null."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: to_plain(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, Mapping):
        return {k: to_plain(v) for k, v in value.items()}
    if isinstance(value, tuple | list):
        return [to_plain(v) for v in value]
    if isinstance(value, float) and math.isnan(value):
        return None
    if isinstance(value, Fraction):
        return str(value)
    return value


# ------------------------------------------------------------------------ back
def filled(kind: type, plain: Any) -> Any:
    """What `to_plain` of an earlier version wrote, with fields that came since at the default of their record.

    What is missing and has no default stays missing, and what is of another shape stays as it is.
    """
    return _filled(kind, plain)


def _filled(hint: Any, plain: Any) -> Any:
    if isinstance(hint, type) and is_dataclass(hint) and isinstance(plain, dict):
        since = {f.name: to_plain(f.default) for f in fields(hint) if f.default is not MISSING}
        hints = _hints(hint)
        return {k: _filled(hints.get(k), v) for k, v in (since | plain).items()}
    args = get_args(hint)
    if get_origin(hint) in (Union, types.UnionType):
        return _filled(next(a for a in args if a is not types.NoneType), plain)
    if get_origin(hint) is tuple and isinstance(plain, list):
        return [_filled(args[0], item) for item in plain]
    return plain


def from_plain(kind: type[_T], plain: Any) -> _T:
    """The value of this kind that `to_plain` wrote; `plain` must have passed the schema.

    Raises
    ------
    ValueError
        If a time is on no calendar, or the values do not go together.
    """
    made: _T = _back(kind, plain, measured=False)
    return made


def _back(hint: Any, plain: Any, *, measured: bool) -> Any:
    if isinstance(hint, type) and is_dataclass(hint):
        hints = _hints(hint)
        inner = _is_measured(hint)
        return hint(**{name: _back(h, plain[name], measured=inner) for name, h in hints.items()})
    if hint is float:
        return math.nan if plain is None and measured else float(plain)
    if hint in (datetime, Fraction):
        return datetime.fromisoformat(plain) if hint is datetime else Fraction(plain)
    origin, args = get_origin(hint), get_args(hint)
    if origin in (Union, types.UnionType):
        (other,) = [a for a in args if a is not types.NoneType]
        return None if plain is None else _back(other, plain, measured=False)
    if origin is tuple:
        return tuple(_back(args[0], item, measured=measured) for item in plain)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        return {k: _back(args[1], v, measured=measured) for k, v in plain.items()}
    return plain


# ---------------------------------------------------------------------- schema
def model_of(kind: type) -> type[BaseModel]:
    """The schema of this dataclass: every field, and no other; one that holds more of its kind holds them one deep."""
    return _model_of(kind)


@cache
def _model_of(kind: type, *, within_itself: bool = False) -> type[BaseModel]:
    measured = _is_measured(kind)
    said: dict[str, Any] = {}
    for name, hint in _hints(kind).items():
        own = get_origin(hint) is tuple and get_args(hint)[0] is kind
        shape = _several_within(kind, within_itself) if own else _shape(name, hint, measured=measured)
        said[name] = (shape, ...)
    config = ConfigDict(extra="forbid", strict=True, frozen=True)
    name = f"{kind.__name__}Within" if within_itself else kind.__name__
    return create_model(name, __config__=config, __doc__=(kind.__doc__ or "").split("\n")[0], **said)


def _several_within(kind: type, within_itself: bool) -> Any:
    """The shape of what a value holds of its own kind: nothing, where it is itself within another."""
    if within_itself:
        nothing: Any = tuple.__class_getitem__((int, ...))
        return Annotated[nothing, Field(max_length=0)]
    items: Any = tuple.__class_getitem__((_model_of(kind, within_itself=True), ...))
    return Annotated[items, Field(max_length=_ITEMS)]


@cache
def _hints(kind: type) -> dict[str, Any]:
    hints = get_type_hints(kind)
    return {f.name: hints[f.name] for f in fields(kind)}


def _is_measured(kind: type) -> bool:
    """Whether plain floats of this kind may be NaN: so it is for all that an imaging floor or a limit gives."""
    return hasattr(kind, "to_json")


def _shape(name: str, hint: Any, *, measured: bool) -> Any:
    if isinstance(hint, type) and is_dataclass(hint):
        return model_of(hint)
    if hint is str:
        return _text(name)
    if hint is float:
        return _Number | None if measured else _Number
    if hint is int:
        return Annotated[int, Field(ge=-_WHOLE, le=_WHOLE)]
    if hint in (datetime, Fraction):
        return Annotated[str, StringConstraints(pattern=_TIME if hint is datetime else _FRACTION)]
    origin, args = get_origin(hint), get_args(hint)
    if hint is bool or origin is Literal:
        return hint
    if origin in (Union, types.UnionType):
        (other,) = [a for a in args if a is not types.NoneType]
        return _shape(name, other, measured=False) | None
    if origin is tuple:
        items: Any = tuple.__class_getitem__((_shape(name, args[0], measured=measured), ...))
        return Annotated[items, Field(max_length=_ITEMS)]
    if isinstance(origin, type) and issubclass(origin, Mapping):
        values: Any = dict.__class_getitem__((_text("key"), _shape(name, args[1], measured=measured)))
        return Annotated[values, Field(max_length=_ITEMS)]
    msg = f"The field {name} has the type {hint}, which no parcel knows yet."
    raise TypeError(msg)


def _text(name: str) -> Any:
    last = re.split("_", name)[-1]
    if last in _PATTERNS:
        return Annotated[str, StringConstraints(pattern=_PATTERNS[last])]
    return Annotated[str, StringConstraints(pattern=PATTERN, max_length=_LETTERS)]
