"""The closed base model of every settings table: an unknown key is an error, a loaded table never changes."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Table(BaseModel):
    """One table of a settings file."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, str_strip_whitespace=True)


Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Name = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[\w][\w .+-]*$")]
"""A name a person gives to a thing aboard: letters, digits, space, dot, plus, minus, underscore."""
Point = tuple[float, float, float]
"""x forward of the aft perpendicular, y to starboard of the centreline, z above the moulded baseline, m."""
