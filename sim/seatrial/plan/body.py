"""The lander in the plan file: what it weighs and displaces, part by part or as totals, and the walls that hold."""

from math import inf
from typing import Annotated, Any, Literal

from pydantic import Field, Strict, TypeAdapter, ValidationError, field_validator, model_validator
from pydantic_core import PydanticCustomError

from seatrial.handbook.materials import MATERIALS
from seatrial.handbook.shapes import SHAPES, needs_length
from seatrial.plan.keys import Section, default, key, optional, words
from seatrial.plan.totals import HARMLESS, totals_of


class Part(Section):
    """One part of the lander, or several alike; numbers are those of a single one.

    Two of mass, volume and density say the third; a material stands for its density.
    """

    name: str = words("the name of the part")
    role: Literal["body", "float", "ballast"] = Field(description="what the part is for")
    count: int = default(1, "how many there are", 1, 1000)
    mass_kg: float | None = optional("the mass of one in air", 0, 5000)
    volume_l: float | None = optional("the volume one displaces at the surface", 0, 10000)
    density_kg_m3: float | None = optional("the density of the part", 20, 25000)
    material: str | None = Field(None, description="the material of the part")
    compressibility_per_mpa: float = default(0, "the share of that volume lost to each MPa", 0, 0.005)
    height_m: float | None = optional("the height of its middle above the feet", 0, 20)
    shape: Literal[SHAPES] | None = Field(  # type: ignore[valid-type]
        None, description="the shape the water flows around")
    width_m: float | None = optional("the width of the shape", 0.001, 20)
    length_m: float | None = optional("the length of the shape", 0.001, 20)
    frontal_area_m2: float | None = optional("the area of one seen from below", 0, 20)
    drag_coefficient: float | None = optional("the drag coefficient of one", 0, 5)
    rated_m: float | None = optional("the depth its maker allows", 1, 12000)

    @field_validator("material")
    @classmethod
    def _known(cls, value: str | None) -> str | None:
        if value is not None and value not in MATERIALS:
            raise PydanticCustomError("material", "no such material")
        return value

    @model_validator(mode="after")
    def _adds_up(self) -> "Part":
        densities = [value for value in (self.density_kg_m3, self.material) if value is not None]
        told = len(densities) + sum(value is not None for value in (self.mass_kg, self.volume_l))
        if told != 2 or len(densities) > 1:
            raise PydanticCustomError("part_mass", "two of three")
        shaped = [self.shape is not None, self.width_m is not None]
        measured = [self.frontal_area_m2 is not None, self.drag_coefficient is not None]
        if any(shaped) != all(shaped) or any(measured) != all(measured) or (any(shaped) and any(measured)):
            raise PydanticCustomError("part_flow", "half a drag")
        if self.shape is not None and needs_length(self.shape) and self.length_m is None:
            raise PydanticCustomError("part_flow", "no length")
        return self

    @property
    def own_density_kg_m3(self) -> float:
        """Density of the part in air, kg/m3; infinite for a part that displaces nothing."""
        if self.material is not None:
            return MATERIALS[self.material].likely_kg_m3
        if self.density_kg_m3 is not None:
            return self.density_kg_m3
        return 1000 * self.own_mass_kg / self.own_volume_l if self.own_volume_l else inf

    @property
    def own_mass_kg(self) -> float:
        """Mass of one in air, kg."""
        return self.mass_kg if self.mass_kg is not None else self.own_density_kg_m3 * (self.volume_l or 0) / 1000

    @property
    def own_volume_l(self) -> float:
        """Volume one displaces at the surface, l."""
        return self.volume_l if self.volume_l is not None else 1000 * (self.mass_kg or 0) / self.own_density_kg_m3


class Floats(Section):
    """What gives lift; stays with the lander. With a list of parts: the sum of those with the role "float"."""

    mass_kg: float = key("the mass of the floats in air", 0, 5000)
    volume_l: float = key("the volume of the floats at the surface", 0, 10000)
    compressibility_per_mpa: float = key("the share of that volume lost to each MPa", 0, 0.005)


class Ballast(Section):
    """What takes the lander down; left on the seabed. With a list of parts: those with the role "ballast"."""

    mass_kg: float = key("the mass of the ballast in air", 0.1, 5000)
    density_kg_m3: float = key("the density of the ballast", 1100, 20000)


class Shell(Section):
    """A wall that holds the sea out, for the handbook check of its strength."""

    name: str = words("the name of the shell")
    form: Literal["tube", "flat_window", "dome"] = Field(description="what the wall is")
    material: str = Field(description="the material of the wall")
    outer_diameter_mm: float = key("the outer diameter; of a flat window the free diameter that nothing backs", 1, 5000)
    wall_mm: float = key("the thickness of the wall", 0.1, 1000)
    length_mm: float | None = optional("the free length of a tube between its stiff ends", 1, 10000)
    edge: Literal["supported", "clamped"] = Field("supported", description="how the edge of a flat window is held")
    rated_m: float | None = optional("the depth its maker allows", 1, 12000)

    @field_validator("material")
    @classmethod
    def _known(cls, value: str) -> str:
        if value not in MATERIALS or MATERIALS[value].youngs_gpa is None:
            raise PydanticCustomError("shell_material", "no strength known")
        return value

    @model_validator(mode="after")
    def _is_a_shell(self) -> "Shell":
        if self.form == "tube" and self.length_mm is None:
            raise PydanticCustomError("shell_length", "a tube has a length")
        if self.form != "flat_window" and 2 * self.wall_mm >= self.outer_diameter_mm:
            raise PydanticCustomError("shell_wall", "wall thicker than the radius")
        return self


class Lander(Section):
    """The body in the water: frame, housing, electronics.

    Where parts are listed, every total that is not given is their sum; a total that is given (weighed, say) wins.
    """

    mass_kg: float = key("the mass in air without floats and ballast", 0.5, 5000)
    volume_l: float = key("the volume displaced by the same", 0.1, 10000)
    compressibility_per_mpa: float = key("the share of that volume lost to each MPa", 0, 0.005)
    frontal_area_m2: float = key("the area seen from below", 0.001, 20)
    drag_coefficient_down: float = key("the drag coefficient in the descent", 0.05, 5)
    drag_coefficient_up: float = key("the drag coefficient in the ascent", 0.05, 5)
    added_mass_kg: float = key("the mass of water that moves with the lander", 0, 20000)
    floats: Floats
    ballast: Ballast
    parts: tuple[Part, ...] = Field((), strict=False, description="the parts of the lander")
    shells: tuple[Shell, ...] = Field((), strict=False, description="the walls that hold the sea out")

    @model_validator(mode="before")
    @classmethod
    def _sum_the_parts(cls, given: object) -> object:
        if not isinstance(given, dict) or not given.get("parts"):
            return given
        return filled_from_parts(given)


def filled_from_parts(given: dict[str, Any]) -> dict[str, Any]:
    """The tables of a lander with every total that is missing put in as the sum of its parts.

    Parts that cannot be read leave harmless numbers behind: what is wrong with them is told of the parts themselves.
    """
    try:
        totals = totals_of(PARTS.validate_python(given["parts"]))
    except ValidationError:
        totals = HARMLESS
    filled = {**totals, **given}
    for name in ("floats", "ballast"):
        own = given.get(name, {})
        filled[name] = {**totals[name], **own} if isinstance(own, dict) else own
    return filled


PARTS = TypeAdapter(Annotated[tuple[Part, ...], Strict(False)])
