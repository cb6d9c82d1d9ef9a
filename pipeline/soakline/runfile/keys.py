"""What a run-file key may hold: ranges and units, in one object that checks and explains itself."""

import re
from dataclasses import dataclass
from typing import Annotated, Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, GetCoreSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

Texture = Literal[
    "sand",
    "loamy-sand",
    "sandy-loam",
    "loam",
    "silt-loam",
    "sandy-clay-loam",
    "clay-loam",
    "silty-clay-loam",
    "sandy-clay",
    "silty-clay",
    "clay",
]
TEXTURES: tuple[str, ...] = get_args(Texture)
"""USDA textures as run file and tables spell them; no silt: the tables hold no figures for it."""

Name = Annotated[str, Field(min_length=1)]
"""Text that may not be empty: a file, a layer, a row of a table."""


class Keys(BaseModel):
    """Base of every section: frozen, strict, no unknown key, no NaN and no infinity."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, strict=True, allow_inf_nan=False, validate_default=True
    )


@dataclass(frozen=True, slots=True)
class Number:
    """The unit and range of a numeric key; used as `Annotated[float, Number(...)]`.

    Parameters
    ----------
    unit : as written after a number; empty for a plain ratio
    low, high : the range, ends included
    above : the low end itself is not allowed
    zero : what a value of 0 stands for (0 is then allowed besides the range); empty if nothing
    whole : of a key that takes whole numbers only, so that its words say so
    """

    unit: str
    low: float
    high: float
    above: bool = False
    zero: str = ""
    whole: bool = False

    def allowed(self) -> str:
        """The range in words, with its unit."""
        unit = f" {self.unit}" if self.unit else ""
        kind = "a whole number" if self.whole else "a number"
        if self.above:
            text = f"{kind} over {self.low:,.9g} and at most {self.high:,.9g}{unit}"
        else:
            text = f"{kind} from {self.low:,.9g} to {self.high:,.9g}{unit}"
        return f"{text}, or 0 ({self.zero})" if self.zero else text

    def check(self, value: float) -> float:
        """Hand the value back if it is in the range.

        Raises
        ------
        PydanticCustomError
            Of type `range`, with the range in words.
        """
        if self.zero and value == 0:
            return value
        low_enough = value > self.low if self.above else value >= self.low
        if low_enough and value <= self.high:
            return value
        raise PydanticCustomError("range", "{allowed}", {"allowed": self.allowed()})

    def __get_pydantic_core_schema__(
        self, source: Any, handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.no_info_after_validator_function(self.check, handler(source))


@dataclass(frozen=True, slots=True)
class Wording:
    """What a key may hold where neither type nor range says it; metadata of the key's type."""

    text: str


FREQUENCY = 'a return period in years ("10") or an AEP in percent ("10%"), as text'


def key(default: Any, title: str) -> Any:
    """Declare a key with a documented default; `title` is one line for template and reference."""
    return Field(default=default, title=title)


def canonical_texture(value: Any) -> Any:
    """Bring a USDA texture to its hyphened form; other values pass and are refused later.

    Examples
    --------
    >>> canonical_texture("Sandy clay_loam")
    'sandy-clay-loam'
    """
    return re.sub(r"[\s_-]+", "-", value.strip().lower()) if isinstance(value, str) else value


def canonical_frequency(value: str) -> str:
    """Bring a frequency to the form in which rain-table columns are compared.

    Parameters
    ----------
    value : a return period in years ("10") or an annual exceedance probability ("10%")

    Raises
    ------
    PydanticCustomError
        If it is neither.

    Examples
    --------
    >>> canonical_frequency(" 10 %")
    '10%'
    """
    text = re.sub(r"\s+", "", value)
    if re.fullmatch(r"\d+(\.\d+)?%?", text):
        figure = float(text.rstrip("%"))
        if figure > 0 and not (text.endswith("%") and figure >= 100):
            return text
    raise PydanticCustomError("range", "{allowed}", {"allowed": FREQUENCY})


def conflict(keys: tuple[str, ...], found: str, allowed: str) -> PydanticCustomError:
    """Build the error for keys of one section that do not go together."""
    return PydanticCustomError(
        "conflict", "{allowed}", {"keys": list(keys), "found": found, "allowed": allowed}
    )
