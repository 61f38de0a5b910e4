"""What a browser may say: every message is checked before anything is done with it."""

from __future__ import annotations

import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, TypeAdapter, ValidationError

from roofmodel.errors import InputError

Name = Annotated[str, Field(min_length=1, max_length=120)]
Value = Annotated[str, Field(max_length=400)] | bool | int | float | None

# Tables whose fields may be set. Not the roof: its field `file` could make the server read any file.
Settable = Literal["project", "site", "surface", "panel", "seam", "rail", "clamp", "design", "analysis"]
Standing = Literal["obstruction", "solar"]  # lists of things that stand on the roof


class Message(BaseModel):
    """Base: `id` comes back with the answer, `revision` is what the sender was looking at."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False, defer_build=True)

    id: int = Field(ge=0, le=2**53)


class Edit(Message):
    """Base of all changes of the project; `preview` tries one out without keeping it."""

    revision: int = Field(ge=0)
    preview: bool = False


class SetField(Edit):
    """Set a field of a table, or leave it out (null)."""

    type: Literal["set"]
    table: Settable
    field: Annotated[list[Name], Field(min_length=1, max_length=2)]
    value: Value


class SetRow(Edit):
    """Set fields of a row, or leave them out (null)."""

    type: Literal["row"]
    row: Name
    fields: Annotated[dict[Name, Value], Field(min_length=1, max_length=20)]


class AddRow(Edit):
    """Add a row at the end."""

    type: Literal["add"]
    row: Name
    plane: Name
    up: Name


class RemoveRow(Edit):
    """Take a row out."""

    type: Literal["remove"]
    row: Name


class SplitRow(Edit):
    """Cut a row in two behind a clamp."""

    type: Literal["split"]
    row: Name
    after: Name


class OneSplice(BaseModel):
    """A splice of a rail, as the file writes it."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, defer_build=True)

    at: Name
    kind: Literal["hinge", "continuous", "sliding"] | None = None


class SetSplices(Edit):
    """Give a row these splices, one by one, and no others."""

    type: Literal["splices"]
    row: Name
    splices: Annotated[list[OneSplice], Field(max_length=200)]


class AddThing(Edit):
    """Put something onto the roof."""

    type: Literal["put"]
    table: Standing
    fields: Annotated[dict[Name, Value], Field(min_length=1, max_length=20)]


class SetThing(Edit):
    """Set fields of something on the roof, or leave them out (null)."""

    type: Literal["thing"]
    table: Standing
    name: Name
    fields: Annotated[dict[Name, Value], Field(min_length=1, max_length=20)]


class RemoveThing(Edit):
    """Take something off the roof."""

    type: Literal["take"]
    table: Standing
    name: Name


class SetMeasured(Edit):
    """Take clamps from a CSV file in the project's folder, or the planned ones again (null)."""

    type: Literal["measured"]
    file: Name | None


class TakePlan(Message):
    """Put the rows that `Plan` found in place of the project's."""

    type: Literal["takeplan"]
    revision: int = Field(ge=0)


class Plan(Message):
    """Search rows for the project as it stands; nothing is changed."""

    type: Literal["plan"]
    revision: int = Field(ge=0)


class Undo(Message):
    """Go back one change."""

    type: Literal["undo"]
    revision: int = Field(ge=0)


class Redo(Message):
    """Go forward again."""

    type: Literal["redo"]
    revision: int = Field(ge=0)


class Save(Message):
    """Write the project file; `anew` also where it is gone from its folder."""

    type: Literal["save"]
    revision: int = Field(ge=0)
    anew: bool = False


class Reload(Message):
    """Read the project file again; what was not saved can be seen by undo, or made again."""

    type: Literal["reload"]
    revision: int = Field(ge=0)


class Again(Message):
    """Make the changes again that were not saved when the file was read."""

    type: Literal["again"]
    revision: int = Field(ge=0)


class Pick(Message):
    """Ask for the working of an attachment, in its worst case or a given one."""

    type: Literal["pick"]
    kind: Literal["clamp", "panel strip"]
    index: int = Field(ge=0, le=10**7)
    case: int | None = Field(None, ge=0, le=10**4)


class Place(Message):
    """Ask what rows and clamps a little out of their places do to the answer."""

    type: Literal["place"]
    revision: int = Field(ge=0)


class Export(Message):
    """Write results to a folder inside the project's."""

    type: Literal["export"]
    revision: int = Field(ge=0)
    folder: Name
    parts: Annotated[list[Name], Field(min_length=1, max_length=12)]


class Cancel(Message):
    """Stop what takes long."""

    type: Literal["cancel"]


Any_ = Annotated[
    SetField
    | SetRow
    | AddRow
    | RemoveRow
    | SplitRow
    | SetSplices
    | AddThing
    | SetThing
    | RemoveThing
    | SetMeasured
    | TakePlan
    | Plan
    | Undo
    | Redo
    | Save
    | Reload
    | Again
    | Pick
    | Place
    | Export
    | Cancel,
    Field(discriminator="type"),
]
_READER: TypeAdapter[Any] = TypeAdapter(Any_, config=ConfigDict(defer_build=True))


# What would be right, by pydantic's kind of error; {} is taken from its context.
_PLAIN = {
    "string_too_short": "is empty; give one",
    "too_short": "is empty; give at least one",
    "string_too_long": "is longer than {max_length} characters; shorten it",
    "too_long": "takes at most {max_length}",
}
# What fields of messages are called in the forms.
_CALLED = {
    "row": "Name of the row",
    "name": "Name",
    "folder": "Folder",
    "file": "File",
    "up": "Up the slope",
    "plane": "Plane",
}


def read_message(text: str) -> Any:
    """Message from its JSON text.

    Raises
    ------
    InputError
        Says what is wrong, in one line.
    """
    try:
        return _READER.validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"][1:]) or "message"
        plain = _PLAIN.get(first["type"], "").format(**first.get("ctx", {}))
        message = f"{_CALLED.get(where, where[:80])}: {plain or first['msg']}"
        raise InputError(message) from None
    except (ValueError, RecursionError):
        message = "message: is not JSON that this program understands"
        raise InputError(message) from None


def sender_id(text: str) -> int | None:
    """Id in a message that may be wrong otherwise, so that its sender can be answered."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError):
        return None
    found = data.get("id") if isinstance(data, dict) else None
    return found if type(found) is int and 0 <= found <= 2**53 else None
