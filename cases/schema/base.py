# SPDX-License-Identifier: MIT
"""Base class of the tables of a case, and the types of their values.

Ranges are given here only for values that no record of the geometry or the solver checks.
"""

import ast
import inspect
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from textwrap import dedent
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, GetJsonSchemaHandler
from pydantic_core import core_schema

from annelid.cases.schema.units import Unit, quantity


class Table(BaseModel):
    """A table of a case file; unknown keys are errors, and the text below a key describes it for editors."""

    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True, defer_build=True)

    @classmethod
    def __get_pydantic_json_schema__(
        cls, schema: core_schema.CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Add the descriptions of the keys."""
        table = handler(schema)
        entries, texts = handler.resolve_ref_schema(table)["properties"], descriptions(cls)
        for name, field in cls.model_fields.items():
            if name in texts:
                entries[field.alias or name]["description"] = texts[name]
        return table


@cache
def descriptions(table: type[Table]) -> dict[str, str]:
    """Return the texts below the fields of a class of tables by name.

    They are read from the source when they are needed: if pydantic reads them for each class, every command
    takes 0.2 s longer.
    """
    texts: dict[str, str] = {}
    for base in reversed([base for base in table.__mro__ if issubclass(base, Table)]):
        (definition,) = ast.parse(dedent(inspect.getsource(base))).body
        assert isinstance(definition, ast.ClassDef)
        for line, text in pairwise(definition.body):
            match line, text:
                case ast.AnnAssign(target=ast.Name(name)), ast.Expr(ast.Constant(str(words))):
                    texts[name] = inspect.cleandoc(words)
    return texts


class Choice:
    """Annotation of a field that allows only some words.

    Args:
        words: The allowed words, taken from the record that the field belongs to.
    """

    def __init__(self, words: Sequence[str]) -> None:
        self.words = list(words)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.literal_schema(self.words)


Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_\-]*$", max_length=40)]
Length = Annotated[float, quantity("length", "a length", "4 mm")]
Thickness = Annotated[float, quantity("thickness", "a length", "180 um")]
Pressure = Annotated[float, quantity("pressure", "a pressure", "40 mmHg")]
Modulus = Annotated[float, quantity("stress", "a stress", "0.3 MPa")]
Voltage = Annotated[float, quantity("voltage", "a voltage", "3.2 kV")]
Force = Annotated[float, quantity("force", "a force", "0.5 N")]
Torque = Annotated[float, quantity("torque", "a torque", "20 N mm")]
ElectricCharge = Annotated[float, quantity("charge", "a charge", "0.3 uC")]
Volume = Annotated[float, quantity("volume", "a volume", "40 mL")]
ElectricField = Annotated[float, quantity("electric field", "an electric field", "80 V/um")]
FoundationStiffness = Annotated[
    float, quantity("foundation stiffness", "a pressure over a length", "2 kPa/mm")
]
Density = Annotated[float, quantity("density", "a density", "1.1 g/cm3")]
Acceleration = Annotated[float, quantity("acceleration", "an acceleration", "-9.81 m/s2")]
Angle = Annotated[float, quantity("angle", "an angle", "35 deg")]
Number = Annotated[float, quantity("ratio", "a number", "1.5")]
Whole = Annotated[int, Field(strict=True)]

Count = Annotated[int, Field(ge=1, strict=True)]
Multiple = Annotated[float, Unit("", "a number", "2", above=1)]
Time = Annotated[float, Unit("s", "a time", "0.2 s", at_least=0, kind="time")]
Duration = Annotated[float, Unit("s", "a time", "10 min", above=0, kind="time")]
Memory = Annotated[float, Unit("megabyte", "an amount of memory", "2 GB", at_least=50)]


def _number_or_text(value: Any) -> Any:
    if isinstance(value, str | int | float) and not isinstance(value, bool):
        return value
    raise ValueError(
        "must be a text with a unit, such as '0.8 MPa', a number, or a percentage such as '12 %'"
    )


Limit = Annotated[float | str, BeforeValidator(_number_or_text, json_schema_input_type=float | str)]
