"""What is wrong in a file, in plain words: the checks of a model turned into problems with their place."""

from __future__ import annotations

import difflib
import types
from collections.abc import Iterable
from typing import Annotated, Any, TypeVar, Union, get_args, get_origin

from pydantic import AliasChoices, BaseModel, Tag, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from wizard.circuit.map import Checked
from wizard.errors import BadFile, Problem
from wizard.files.yamltext import MOST_PROBLEMS, Document, Path

Model = TypeVar("Model", bound=Checked)
_NO_KIND = object()

_EXPECTED = {
    "string_type": "write text here",
    "float_type": "write a number here",
    "float_parsing": "write a number here",
    "int_type": "write a whole number here",
    "int_parsing": "write a whole number here",
    "int_from_float": "write a whole number here",
    "bool_type": "write true or false here",
    "bool_parsing": "write true or false here",
    "dict_type": "write keys and values here",
    "model_type": "write keys and values here",
    "model_attributes_type": "write keys and values here",
    "list_type": "write a list here",
    "tuple_type": "write a list here",
    "finite_number": "write a finite number here",
    "date_type": "write a date here, as 2026-03-02",
    "date_parsing": "write a date here, as 2026-03-02",
    "date_from_datetime_parsing": "write a date here, as 2026-03-02",
    "datetime_type": "write a date and time here",
    "datetime_parsing": "write a date and time here",
    "datetime_from_date_parsing": "write a date and time here",
    "timezone_aware": "write the date and time with its zone",
}
_BOUNDS = {
    "greater_than": ("gt", "must be more than"),
    "greater_than_equal": ("ge", "must be at least"),
    "less_than": ("lt", "must be less than"),
    "less_than_equal": ("le", "must be at most"),
    "too_short": ("min_length", "too few; the least is"),
    "too_long": ("max_length", "too many; the most is"),
}


def shaped(document: Document, model: type[Model]) -> Model:
    """The document as this model, whether it fits together or not. Raises BadFile."""
    try:
        return model.model_validate(document.data)
    except ValidationError as error:
        raise BadFile(problems_of(document, model, error)) from None


def checked(document: Document, model: type[Model]) -> Model:
    """The document as this model. Raises BadFile with every problem in it."""
    made = shaped(document, model)
    refuse(document, made.inconsistencies())
    return made


def refuse(document: Document, faults: Iterable[tuple[Path, str]]) -> None:
    """Raise BadFile when there are any faults, each at its place in the document."""
    if problems := [document.problem(path, message) for path, message in faults]:
        raise BadFile(problems[:MOST_PROBLEMS])


def problems_of(document: Document, model: type[Any], error: ValidationError) -> list[Problem]:
    """Each thing that the model refuses, once, with what was found and what is allowed."""
    problems: dict[Path, Problem] = {}
    for detail in error.errors(include_url=False):
        path, holders = _walk(model, tuple(detail["loc"]))
        # A value that may be one of several things is refused once for each of them.
        if path not in problems:
            problems[path] = document.problem(path, _words(detail, holders))
    return list(problems.values())[:MOST_PROBLEMS]


def bad_places(model: type[Any], error: ValidationError) -> set[Path]:
    """Where those things are, as keys and indexes of the file."""
    return {_walk(model, tuple(detail["loc"]))[0] for detail in error.errors(include_url=False)}


def _walk(model: type[Any], loc: Path) -> tuple[Path, list[Any]]:
    """The place in the file that an error's `loc` means, and the models that hold its last key.

    A `loc` also names which of several models was tried, and what a value might have been; no file has those.
    """
    path: Path = ()
    members: list[Any] = [model]
    holders: list[Any] = members
    for number, key in enumerate(loc):
        chosen = [bare for member in members for bare, tag in _options(member) if key in (tag, _kind(bare))]
        if len(members) == 1 and len(_options(members[0])) > 1 and chosen:
            members = chosen
            continue
        below = [after for member in members for after in _under(member, key)]
        if not below and not any(_models(member) for member in members):
            break
        path = (*path, key)
        holders, members = members, below
        if not below and number < len(loc) - 1:
            break
    return path, holders


def _words(detail: ErrorDetails, holders: list[Any]) -> str:
    kind, context, loc = detail["type"], detail.get("ctx", {}), detail["loc"]
    if kind == "missing":
        last = loc[-1]
        return f"item {last + 1} of this list is missing" if isinstance(last, int) else f"the key {last!r} is missing"
    if kind == "extra_forbidden":
        return _no_such("key", str(loc[-1]), _allowed_keys(holders))
    if kind in ("literal_error", "enum"):
        allowed = _listed(context["expected"].replace(" or ", ", "))
        return _no_such("choice", _shown(detail["input"]), allowed)
    if kind == "union_tag_invalid":
        allowed = _listed(context["expected_tags"])
        return _no_such("kind", context["tag"], allowed)
    if kind == "union_tag_not_found":
        if not isinstance(detail["input"], dict):
            return f"write keys and values here; found {_shown(detail['input'])}"
        return f"the key {context['discriminator']} is missing"
    if kind == "value_error":
        return str(context["error"])
    if kind in _EXPECTED:
        return f"{_EXPECTED[kind]}; found {_shown(detail['input'])}"
    if kind in _BOUNDS:
        bound, words = _BOUNDS[kind]
        return f"{words} {context[bound]:g}"
    return detail["msg"]


def _listed(text: str) -> list[str]:
    return [item.strip().strip("'") for item in text.split(",")]


def _shown(found: Any) -> str:
    if isinstance(found, dict):
        return "keys and values"
    if isinstance(found, list):
        return "a list"
    if found is None:
        return "nothing"
    if isinstance(found, bool):
        return str(found).lower()
    return str(found)[:40]


def _no_such(what: str, found: str, allowed: list[str]) -> str:
    near = difflib.get_close_matches(found, allowed, 1)
    hint = f"; did you mean {near[0]!r}?" if near else ";"
    return f"there is no {what} {found[:40]!r} here{hint} allowed: {', '.join(allowed)}"


def _allowed_keys(holders: list[Any]) -> list[str]:
    """Keys that these models take, spelled as a file spells them."""
    keys: dict[str, None] = {}
    for holder in holders:
        for model in _models(holder):
            keys.update((_spelling(name, field), None) for name, field in model.model_fields.items())
    return list(keys)


def _under(annotation: Any, key: str | int) -> list[Any]:
    """What may stand under this key."""
    found: list[Any] = []
    for bare, _ in _options(annotation):
        if _is_model(bare):
            found += [_whole(field) for name, field in bare.model_fields.items() if key in _names(name, field)]
        elif get_origin(bare) in (list, dict, tuple):
            found.append(get_args(bare)[-1])
    return found


def _whole(field: FieldInfo) -> Any:
    """A field's annotation with what pydantic moved out of it: the names of its choices."""
    return Annotated[field.annotation, *field.metadata] if field.metadata else field.annotation


def _options(annotation: Any, tag: str | None = None) -> list[tuple[Any, str | None]]:
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *extra = get_args(annotation)
        tags = [str(item.tag) for item in extra if isinstance(item, Tag)]
        return _options(inner, tags[0] if tags else tag)
    if origin in (Union, types.UnionType):
        return [option for member in get_args(annotation) for option in _options(member)]
    return [(annotation, tag)]


def _models(annotation: Any) -> list[type[BaseModel]]:
    return [bare for bare, _ in _options(annotation) if _is_model(bare)]


def _is_model(bare: Any) -> bool:
    return isinstance(bare, type) and issubclass(bare, BaseModel)


def _kind(bare: Any) -> Any:
    """What tells this model from its siblings: the one value of its `kind`."""
    field = bare.model_fields.get("kind") if _is_model(bare) else None
    return field.default if field and isinstance(field.default, str) else _NO_KIND


def _names(name: str, field: FieldInfo) -> set[str]:
    alias = field.validation_alias
    others = [str(choice) for choice in alias.choices] if isinstance(alias, AliasChoices) else [alias]
    return {name, *(str(other) for other in others if other)}


def _spelling(name: str, field: FieldInfo) -> str:
    alias = field.validation_alias
    first = alias.choices[0] if isinstance(alias, AliasChoices) else alias
    return str(first or name)
