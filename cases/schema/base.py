# SPDX-License-Identifier: MIT
"""What all tables of a case share: names, quantities with units, and no unknown keys."""

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from annelid.cases.schema.units import Unit


class Table(BaseModel):
    """A table of a case file: unknown keys are errors, the text below a key describes it for editors."""

    model_config = ConfigDict(
        extra="forbid", frozen=True, populate_by_name=True, use_attribute_docstrings=True
    )


Name = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_\-]*$", max_length=40)]
Length = Annotated[float, Unit("mm", "a length", "4 mm", above=0)]
LengthOrZero = Annotated[float, Unit("mm", "a length", "2 mm", at_least=0)]
Position = Annotated[float, Unit("mm", "a length", "12 mm")]
Pressure = Annotated[float, Unit("MPa", "a pressure", "40 mmHg")]
Modulus = Annotated[float, Unit("MPa", "a stress", "0.3 MPa", above=0)]
ModulusOrZero = Annotated[float, Unit("MPa", "a stress", "0.3 MPa", at_least=0)]
SignedModulus = Annotated[float, Unit("MPa", "a stress", "-2 kPa")]
Voltage = Annotated[float, Unit("kV", "a voltage", "3.2 kV")]
Force = Annotated[float, Unit("N", "a force", "0.5 N")]
Charge = Annotated[float, Unit("uC", "a charge", "0.3 uC")]
Volume = Annotated[float, Unit("mm3", "a volume", "40 mL", above=0)]
Field_ = Annotated[float, Unit("kV/mm", "an electric field", "80 V/um", above=0)]
BedStiffness = Annotated[float, Unit("MPa/mm", "a pressure over a length", "2 kPa/mm", at_least=0)]
Angle = Annotated[float, Unit("deg", "an angle", "35 deg", at_least=-90, at_most=90)]
SectorAngle = Annotated[float, Unit("deg", "an angle", "90 deg", above=0, at_most=180)]
Duration = Annotated[float, Unit("s", "a time", "10 min", above=0)]
Memory = Annotated[float, Unit("megabyte", "an amount of memory", "2 GB", at_least=50)]
Number = Annotated[float, Unit("", "a number", "1.5")]
Multiple = Annotated[float, Unit("", "a number", "2", above=1)]
Positive = Annotated[float, Unit("", "a number", "1.5", above=0)]
Stretch = Annotated[float, Unit("", "a number", "0.8", at_least=0.05, at_most=20)]
Step = Annotated[float, Unit("", "a number", "0.1", above=0, at_most=1)]
Fraction = Annotated[float, Unit("", "a number", "0.1", at_least=0, below=1)]
Permittivity = Annotated[float, Unit("", "a number", "2.8", at_least=1)]
Count = Annotated[int, Field(ge=1, strict=True)]
