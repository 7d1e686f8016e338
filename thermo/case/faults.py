"""From what the models refuse to what the user reads: path, value, what is allowed, way out."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from difflib import get_close_matches
from inspect import isclass
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel, ValidationError

from thermo.case.fields import Bounds
from thermo.case.positions import Path, line_of
from thermo.errors import Fault, shown

__all__ = [
    "Places",
    "Refusal",
    "key_text",
    "missing",
    "model_at",
    "nearest",
    "nearest_name",
    "refusals",
    "span_of",
]

Refusal = tuple[Path, str]  # where, and what, value, allowed, way out
FILES = {  # key that names a file -> what it is, and its ending
    "ring.spectrum": ("a CSV file of the spectrum beside the case", "csv"),
    "scan.table": ("a CSV file of the stage's log beside the case", "csv"),
    "mesh.plan": ("a .vtu file of quads beside the case", "vtu"),
}


@dataclass(frozen=True)
class Places:
    """Where each key stands: its line in the file, or on the command line."""

    file: str
    lines: Mapping[Path, int]
    settings: set[Path] = field(default_factory=set)

    def fault(self, refusal: Refusal) -> Fault:
        """Fault of a refusal, with file and line."""
        path, text = refusal
        if any(path[: len(given)] == given for given in self.settings):
            return Fault("--set", 0, key_text(path), text)
        return Fault(shown(self.file, 200), line_of(path, self.lines), key_text(path), text)


def key_text(path: Path) -> str:
    """Key as a user writes it; list elements are counted from 1."""
    return ".".join(shown(part + 1 if isinstance(part, int) else part) for part in path)


def nearest_name(word: object, words: Iterable[str]) -> str | None:
    """Name that was probably meant, if any is near."""
    known = {name.casefold(): name for name in words}
    near = get_close_matches(str(word)[:60].casefold(), known, n=1, cutoff=0.6)
    return known[near[0]] if near else None


def nearest(word: object, words: Iterable[str]) -> str:
    """Way out of a name nobody knows."""
    near = nearest_name(word, words)
    return f"did you mean '{near}'?" if near else "check the spelling"


def refusals(error: ValidationError, root: type[BaseModel], start: Path) -> list[Refusal]:
    """Everything a model refused, in the words of the case file.

    A key that is missing because its name is misspelt is one mistake, and one refusal.
    """
    found: dict[Path, str] = {}
    meant: set[Path] = set()
    for item in error.errors(include_url=False):
        loc = item["loc"]
        own = loc[-1:] if item["type"] == "extra_forbidden" else ()  # as the user wrote it
        path = (*_without_union_tag(loc[: len(loc) - len(own)]), *own)
        holder = model_at(root, loc[:-1])
        found[path] = _text(dict(item), holder, path, (*start, *path))
        if item["type"] == "extra_forbidden":
            meant.add((*path[:-1], nearest_name(path[-1], holder.model_fields) or ""))
    return [((*start, *path), text) for path, text in found.items() if path not in meant]


def _without_union_tag(path: Path) -> Path:
    """Path as in the file: names in brackets say which of several forms the model read."""
    return tuple(part for part in path if not _is_tag(part))


def _is_tag(part: str | int) -> bool:
    return isinstance(part, str) and part.startswith("(")


NAME_RULE = (
    "is not allowed; allowed: 1 to 40 letters, digits, space, _, + and -, "
    "a letter or digit first; rename it"
)
PLAIN = {  # kinds of refusal that need no look at the model
    "tuple_type": "'{given}' is no list; allowed: a list; put it in square brackets",
    "too_short": "the list is empty; allowed: at least one element; add one",
    "too_long": "the list has {actual_length} elements; allowed: at most {max_length}; join some",
    "bool_type": "'{given}' is neither true nor false; allowed: true, false; write one, no quotes",
    "string_too_short": "the text is empty; allowed: 1 to 200 characters; or leave it out",
    "string_type": "'{given}' is no text; allowed: text; put it in quotes",
    "string_too_long": "the text is too long; allowed: at most {max_length} characters; shorten it",
    "string_pattern_mismatch": "the name '{given}' " + NAME_RULE,
}


def _text(item: dict[str, Any], holder: type[BaseModel], path: Path, whole: Path) -> str:
    kind, given = item["type"], shown(item["input"])
    if kind in PLAIN:
        return PLAIN[kind].format(given=given, **item.get("ctx", {}))
    match kind:
        case "missing":
            return missing(holder, str(path[-1]), whole)
        case "extra_forbidden":
            known = list(holder.model_fields)
            return f"unknown key; allowed: {', '.join(known)}; {nearest(path[-1], known)}"
        case "literal_error":
            choices = _choices(holder, str(path[-1]))
            allowed = ", ".join(f'"{choice}"' for choice in choices)
            return f"'{given}' is no choice here; allowed: {allowed}; {nearest(given, choices)}"
        case "model_type" | "model_attributes_type":
            names = ", ".join(model_at(holder, path[-1:]).model_fields)
            return f"'{given}' is no table; allowed: a table with {names}; write it as one"
    return str(item["msg"])


def missing(holder: type[BaseModel], name: str, whole: Path) -> str:
    """Text about a key of a model that is not there."""
    if key_text(whole) in FILES:
        what, ending = FILES[key_text(whole)]
        return f'is missing; allowed: {what}; add {name} = "FILE.{ending}"'
    info, span = holder.model_fields[name], span_of(holder, name)
    if span is not None:
        kind = span.kind.replace("_", " ")
        return f'is missing; allowed: {kind} {span}; add {name} = "value unit" here'
    table = next(_models_in(info.annotation), None)
    if table is not None and get_origin(info.annotation) is not tuple:
        keys = ", ".join(table.model_fields)
        return f"the table is missing; allowed: its keys {keys}; add [{key_text(whole)}]"
    choices = _choices(holder, name)
    if choices:
        allowed = ", ".join(f'"{choice}"' for choice in choices)
        return f"is missing; allowed: {allowed}; add {name} = one of them here"
    return f"is missing; allowed: see a file written by 'warmstack new'; add {name} here"


def span_of(holder: type[BaseModel], name: str) -> Bounds | None:
    """Allowed span of a key of a model, if it holds a quantity."""
    info = holder.model_fields[name]
    marks = (*info.metadata, *_marks(info.annotation))
    return next((mark for mark in marks if isinstance(mark, Bounds)), None)


def _marks(annotation: object) -> Iterator[object]:
    """Marks of a type and of all types in it."""
    yield from getattr(annotation, "__metadata__", ())
    for inner in get_args(annotation):
        yield from _marks(inner)


def _choices(holder: type[BaseModel], name: str) -> tuple[str, ...]:
    annotation = holder.model_fields[name].annotation
    return get_args(annotation) if get_origin(annotation) is Literal else ()


def model_at(root: type[BaseModel], path: Path) -> type[BaseModel]:
    """Model of the table at a path below a root."""
    choices: tuple[type[BaseModel], ...] = ()
    for part in path:
        if part in root.model_fields:
            choices = tuple(_models_in(root.model_fields[str(part)].annotation))
            root = choices[0] if choices else root
        elif _is_tag(part):
            root = next((m for m in choices if f"({m.__name__})" == part), root)
    return root


def _models_in(annotation: object) -> Iterator[type[BaseModel]]:
    """Models of a table, or of the elements of a list of tables."""
    if isclass(annotation) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in get_args(annotation):
        yield from _models_in(inner)
