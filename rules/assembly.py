"""An assembly: an application, items and the joints between their ports."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from rules.connections import Words, fault
from rules.parts import (
    AskedSku,
    AtLeastOne,
    Component,
    Count,
    FuelId,
    Identifier,
    Model,
    second_of_a_name,
)
from rules.quantities import (
    AngleDeg,
    BoostKpa,
    ConsumptionKgKwh,
    LengthMm,
    PowerKw,
    PressureKpa,
    TemperatureC,
    VoltageV,
)
from rules.vocabulary import (
    Circuit,
    Induction,
    Line,
    Placement,
    PowerAt,
    PumpControl,
    SealantKind,
    Use,
)

MOST_ITEMS = 400
MOST_JOINTS = 800
MOST_POINTS = 12

Percent = Annotated[float, Field(ge=0.0, le=100.0, strict=True, allow_inf_nan=False)]
PartPercent = Annotated[float, Field(ge=0.0, lt=100.0, strict=True, allow_inf_nan=False)]
DutyPercent = Annotated[float, Field(gt=0.0, le=100.0, strict=True, allow_inf_nan=False)]


class PercentRange(Model):
    """From and to, in percent by volume."""

    least: Percent = Field(description="Lowest content the tank will see.")
    most: Percent = Field(description="Highest content the tank will see.")

    @model_validator(mode="after")
    def _ordered(self) -> Self:
        if self.least > self.most:
            raise fault("`least` is above `most`.", "the lower content as `least`", ("least",))
        return self


class FuelBlend(Model):
    """A blend by alcohol content, by volume; a range rates everything between its ends."""

    ethanol_percent: Percent | PercentRange = Field(examples=[71.0])
    methanol_percent: Percent = 0.0

    @model_validator(mode="after")
    def _within_the_whole(self) -> Self:
        ethanol = self.ethanol_percent
        most = ethanol.most if isinstance(ethanol, PercentRange) else ethanol
        if most + self.methanol_percent > 100.0:
            raise fault(
                "Ethanol and methanol together exceed 100 percent.",
                "contents that fit in one tank",
                ("ethanol_percent",),
            )
        return self


class OperatingPoint(Model):
    """A state of the engine to look at besides the usual ones.

    What it leaves out is as in the application.
    """

    name: Words = Field(description="What the caller calls it.", examples=["long hill in summer"])
    power_kw: PowerKw | None = Field(default=None, description="Power asked for there.")
    boost_kpa: BoostKpa | None = Field(
        default=None, description="Manifold pressure above ambient there."
    )
    supply_voltage_v: VoltageV | None = Field(
        default=None, description="Voltage at the pump there."
    )
    fuel_temperature_c: TemperatureC | None = Field(
        default=None, description="Temperature of the fuel there."
    )


class Application(Model):
    """What the system is for. Nothing here has a default that could pass for a fact."""

    fuel: FuelId | FuelBlend = Field(
        description="A fuel's id from `/v1/fuels`, or a blend by its alcohol content."
    )
    power_kw: PowerKw | None = None
    power_at: PowerAt | None = None
    driveline_loss_percent: PartPercent | None = None
    consumption_kg_kwh: ConsumptionKgKwh | None = Field(
        default=None,
        description="Fuel burnt for the work at the crank, as measured on this fuel.",
    )
    induction: Induction | None = None
    boost_kpa: BoostKpa | None = Field(default=None, description="Manifold pressure above ambient.")
    cylinders: Annotated[int, Field(strict=True, ge=1, le=24)] | None = None
    base_pressure_kpa: PressureKpa | None = Field(
        default=None, description="Fuel pressure above manifold pressure."
    )
    supply_voltage_v: VoltageV | None = None
    fuel_temperature_c: TemperatureC | None = None
    circuit: Circuit | None = None
    use: Use | None = None
    pump_control: PumpControl | None = None
    duty_limit_percent: DutyPercent | None = Field(
        default=None, description="Share of the cycle that an injector may stay open; 85 if unsaid."
    )
    idle_vacuum_kpa: PressureKpa | None = Field(
        default=None, description="Manifold pressure below ambient at idle."
    )
    ambient_pressure_kpa: PressureKpa | None = Field(
        default=None, description="Absolute pressure of the air; 101.3 kPa at sea level if unsaid."
    )
    operating_points: tuple[OperatingPoint, ...] = Field(
        default=(), max_length=MOST_POINTS, description="States to look at besides the usual ones."
    )

    @model_validator(mode="after")
    def _points_are_unique(self) -> Self:
        names = [point.name for point in self.operating_points]
        if (again := second_of_a_name(names)) is not None:
            raise fault(
                f"Two operating points are called `{names[again]}`.",
                "a different `name` for each",
                ("operating_points", again, "name"),
            )
        return self


class Item(Model):
    """One line of the assembly: a part of the catalogue or one described on the spot.

    An item of quantity n has one place in the circuit; its ports are joined as a group.
    """

    ref: Identifier = Field(description="The caller's name for it.", examples=["feed"])
    sku: AskedSku | None = None
    component: Component | None = None
    quantity: Count = 1
    length_mm: LengthMm | None = Field(default=None, description="Cut length, where it is cut.")
    bend_radius_mm: LengthMm | None = Field(
        default=None, description="Tightest bend the hose is laid in."
    )
    clock_angle_deg: AngleDeg | None = Field(
        default=None, description="Angle between the two bent ends of a hose."
    )
    placement: Placement | None = Field(default=None, description="Where in the car it sits.")
    line: Line | None = Field(
        default=None,
        description="Which line of the circuit it is in, where no joint shows it.",
    )
    set_pressure_kpa: PressureKpa | None = Field(
        default=None, description="What an adjustable regulator is set to."
    )

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        if (self.sku is None) == (self.component is None):
            raise fault(
                "An item names a `sku` or carries a `component`, and never both.",
                "exactly one of `sku` and `component`",
                ("sku",) if self.component is None else ("component",),
            )
        return self


End = Annotated[
    str,
    Field(
        max_length=130,
        pattern=r"^[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?\.[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?$",
        description="`ref.port` of an item.",
        examples=["feed.a"],
    ),
]


class Joint(Model):
    """Two ports that are joined, and what is put on the joint.

    The short form is the pair alone: `["feed.b", "rail.inlet"]`.
    """

    ends: tuple[End, End]
    uses: tuple[Identifier, ...] = Field(
        default=(),
        max_length=10,
        description="Refs of items put on this joint: its clamp, washers or seal.",
    )
    sealant: SealantKind | None = Field(
        default=None, description="What is put on the thread; `null` where nobody said."
    )

    @model_validator(mode="before")
    @classmethod
    def _from_pair(cls, given: Any) -> Any:
        return {"ends": given} if isinstance(given, (list, tuple)) else given

    @model_validator(mode="after")
    def _two_ends(self) -> Self:
        if self.ends[0] == self.ends[1]:
            raise fault("A port cannot be joined to itself.", "two different ports", ("ends", 1))
        return self


class Outside(Model):
    """A port that joins a part of the car which the list does not hold."""

    port: End
    to: Words = Field(description="What it joins.", examples=["intake manifold"])
    line: Line | None = Field(
        default=None, description="Which line of the circuit it is in, where no joint shows it."
    )
    flow: Literal["in", "out"] | None = Field(
        default=None,
        description=(
            "Whether fuel comes in there from the car or goes out to it, where no joint shows it."
        ),
    )


class Request(Model):
    """What a caller proposes: the application, the items and their joints."""

    application: Application
    vehicle: Identifier | None = Field(
        default=None, description="A vehicle's id; it brings its own fixed parts."
    )
    items: Annotated[tuple[Item, ...], AtLeastOne, Field(max_length=MOST_ITEMS)]
    joints: tuple[Joint, ...] = Field(default=(), max_length=MOST_JOINTS)
    outside: tuple[Outside, ...] = Field(default=(), max_length=MOST_ITEMS)

    @model_validator(mode="after")
    def _refs_are_unique(self) -> Self:
        refs = [item.ref for item in self.items]
        if (again := second_of_a_name(refs)) is not None:
            raise fault(
                f"Two items are called `{refs[again]}`.",
                "a different `ref` for each item",
                ("items", again, "ref"),
            )
        return self


class Run(Model):
    """A length of hose, line or wire that the vehicle needs between two places."""

    name: Words
    of: Literal["fuel", "reference", "wire"] = Field(default="fuel", description="What runs there.")
    length_mm: LengthMm


class Vehicle(Model):
    """A vehicle of the shop: the fixed parts and joints it brings into an assembly."""

    id: Identifier
    name: Words
    notes: Words | None = None
    items: tuple[Item, ...] = Field(max_length=MOST_ITEMS)
    joints: tuple[Joint, ...] = Field(default=(), max_length=MOST_JOINTS)
    runs: tuple[Run, ...] = Field(default=(), max_length=40)
