"""The closed base model of every settings table: an unknown key is an error, a loaded table never changes."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Table(BaseModel):
    """One table of a settings file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, str_strip_whitespace=True)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
LONGEST_NAME = 64
NAME_PATTERN = r"^[\w][\w .+-]*$"
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME, pattern=NAME_PATTERN)]
"""A name a person gives to a thing aboard: letters, digits, space, dot, plus, minus, underscore."""
NAME_WANTED = (
    f"a name of at most {LONGEST_NAME} letters of any language, digits, blanks and . + - _, that begins with a letter "
    "or a digit"
)
"""What would be right where a name is not one."""
Point = tuple[float, float, float]
"""x forward of the aft perpendicular, y to starboard of the centreline, z above the moulded baseline, m."""
