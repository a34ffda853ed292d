"""Components and their ports: everything that has a part number.

Field names inside carry their unit (`bore_mm`); the same field is written without it at the edge
(`"bore": "7.9 mm"`). Every attribute that may be missing from a catalogue is `None` when nobody
recorded it: unknown, never zero and never a default.
"""

from __future__ import annotations

import difflib
import itertools
import re
from collections.abc import Collection, Sequence
from typing import Annotated, Any, Literal, Self

from pydantic import (
    AfterValidator,
    AliasGenerator,
    BaseModel,
    ConfigDict,
    Field,
    StrictBool,
    StrictInt,
    TypeAdapter,
    model_validator,
)

from rules.connections import Connection, Words, fault, writable
from rules.quantities import (
    AngleDeg,
    AreaMm2,
    BoreMm,
    CurrentA,
    DensityKgM3,
    FinenessUm,
    FlowCcMin,
    FlowLph,
    FlowOrNoneLph,
    LengthMm,
    MassG,
    PressureKpa,
    ResistanceOhm,
    TemperatureC,
    TimeMs,
    VoltageV,
    VolumeL,
)
from rules.reference import reference
from rules.vocabulary import (
    AdapterForm,
    BarbStyle,
    ClampStyle,
    Construction,
    Lifecycle,
    Marking,
    Material,
    MediaKind,
    PortForm,
    PressureReference,
    PumpMount,
    RegulatorAction,
    Retention,
    Role,
    SealantKind,
    SealForm,
    SensedQuantity,
)

UNIT_SUFFIXES = (
    "kg_m3",
    "cc_min",
    "kg_kwh",
    "mm2",
    "kpa",
    "lph",
    "ohm",
    "deg",
    "mm",
    "um",
    "kw",
    "ms",
    "a",
    "v",
    "l",
    "g",
    "c",
)
_SUFFIX = re.compile(rf"_(?:{'|'.join(UNIT_SUFFIXES)})$")


def edge_name(field: str) -> str:
    """The name of a field at the edge: without its unit (`bore_mm` becomes `bore`)."""
    return _SUFFIX.sub("", field)


class Model(BaseModel):
    """What all models of the edge share: frozen, closed to unknown fields, unit-free names."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        allow_inf_nan=False,
        serialize_by_alias=True,
        alias_generator=AliasGenerator(alias=edge_name),
    )


def _not_empty(given: tuple[Any, ...]) -> tuple[Any, ...]:
    if not given:
        raise fault("The list is empty.", "at least one entry")
    return given


# Not `min_length`: pydantic counts only valid entries, and would call a list with one bad entry
# empty as well.
AtLeastOne = AfterValidator(_not_empty)

Identifier = Annotated[
    str,
    Field(
        min_length=1,
        max_length=64,
        pattern=r"^[a-z0-9](?:[a-z0-9_-]*[a-z0-9])?$",
        description="Lower-case letters, digits, hyphen and underscore.",
    ),
]


RESERVED_ENDINGS = ("/mates", "/replacements")
"""Behind a part number in a web address these name a list about it, so none may end in one."""


def _addressable(sku: str) -> str:
    """Refuse what a web address cannot hold: clients fold `.` and `..` between slashes away."""
    if sku.endswith(RESERVED_ENDINGS):
        raise fault(
            f"`{sku}` ends in `/{sku.rpartition('/')[2]}`, which in a web address names a list "
            "about a part.",
            "a part number that ends otherwise; a hyphen may stand in place of the slash",
        )
    if {".", ".."} & set(sku.split("/")) or "//" in sku:
        raise fault(
            f"`{sku}` cannot stand in a web address.", "no empty, `.` or `..` part between slashes"
        )
    return sku


Sku = Annotated[
    str,
    Field(
        min_length=1,
        max_length=64,
        pattern=r"^[A-Za-z0-9](?:[A-Za-z0-9._/+-]*[A-Za-z0-9])?$",
        description="A part number, kept as text: leading and trailing zeros count.",
        examples=["LW-ADP-0601"],
    ),
    AfterValidator(_addressable),
]
AskedSku = Annotated[
    str,
    AfterValidator(writable),
    Field(min_length=1, max_length=64, examples=["LW-ADP-0601"]),
]
"""A part number as a caller writes it; one that the catalogue does not hold is answered with near
ones, whatever its form."""

FuelId = Annotated[
    str,
    Field(
        min_length=1,
        max_length=40,
        pattern=r"^[A-Za-z0-9][A-Za-z0-9-]*$",
        description="A fuel's id from `/v1/fuels`.",
        examples=["E85"],
    ),
]


def near_fuels(fuel: str, known: Collection[str]) -> tuple[str, ...]:
    """Ids of fuels that may be meant: the one that differs in case alone, or else near ones."""
    same = tuple(each for each in known if each.casefold() == fuel.casefold())
    return same or tuple(difflib.get_close_matches(fuel[:80].upper(), known, n=3, cutoff=0.4))


def _known_fuel(fuel: str) -> str:
    known = reference().fuels
    near = near_fuels(fuel, known)
    if near and near[0].casefold() == fuel.casefold():
        return near[0]
    listed = ", ".join(f"`{each}`" for each in near or known)
    raise fault(f"There is no fuel `{fuel}`.", f"a fuel's id, such as {listed}")


KnownFuelId = Annotated[FuelId, AfterValidator(_known_fuel)]
"""A fuel of the tables, in upper or lower case.

A misspelt one would exclude nothing and approve nothing, so an unknown one is refused.
"""

Count = Annotated[StrictInt, Field(ge=1, le=1000)]


def second_of_a_name(names: Sequence[str]) -> int | None:
    """Where in a list a name stands that stands before it already; `None` where all differ."""
    seen: set[str] = set()
    for index, name in enumerate(names):
        if name in seen:
            return index
        seen.add(name)
    return None


class Price(Model):
    """A price in one currency, as decimal text so that no cent is lost to binary fractions."""

    amount: Annotated[str, Field(pattern=r"^\d{1,9}(?:\.\d{1,2})?$", examples=["18.50"])]
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$", examples=["EUR"])]


class PortSeal(Model):
    """What seals a port."""

    form: SealForm | None = Field(default=None, description="The kind of seal.")
    material: Material | None = Field(default=None, description="What the seal is made of.")
    included: StrictBool | None = Field(
        default=None, description="Whether the seal comes with the part."
    )


class Port(Model):
    """One place where a part joins another."""

    id: Identifier = Field(description="Unique within the part.", examples=["outlet"])
    role: Role = Field(
        description=(
            "What passes there. `sense`: a gauge or sensor port, and the port by which a regulator "
            "senses the manifold, which is the one that takes a hose."
        )
    )
    connection: Connection | None = Field(
        default=None,
        description="How it joins, as an object or as the trade writes it (`-6 AN male`).",
    )
    swivel: StrictBool | None = Field(
        default=None, description="Whether the end turns on its part while it is tightened."
    )
    bore_mm: BoreMm | None = Field(default=None, description="The smallest hole through the port.")
    diameter_mm: BoreMm | None = Field(
        default=None,
        description="Measured outside diameter of a barb, an end form or a tube end.",
    )
    seal: PortSeal | None = Field(default=None, description="What seals the port.")
    form: PortForm | None = Field(default=None, description="How the mouth of a port is machined.")
    boss_material: Material | None = Field(
        default=None, description="What the threaded boss is made of."
    )
    barb_style: BarbStyle | None = Field(default=None, description="How a barb grips.")
    bead: StrictBool | None = Field(
        default=None, description="Whether a tube end has a bead for a latch or clamp to hold."
    )
    retention: Retention | None = Field(
        default=None, description="What keeps a quick connector on its end form."
    )
    angle_deg: AngleDeg | None = Field(
        default=None, description="Bend of the end against the part's axis; 0 is straight."
    )
    flare_angle_deg: AngleDeg | None = Field(
        default=None, description="Half angle of the flare on a tube end."
    )
    submerged: StrictBool | None = Field(
        default=None, description="Whether the port lies inside the fuel tank."
    )
    count: Count = Field(
        default=1, description="How many equal ports this stands for, such as injector seats."
    )


class Wetted(Model):
    """A material that fuel touches, and where."""

    part: Words = Field(description="Which piece of the part.", examples=["liner"])
    material: Material | None = Field(
        default=None, description="What it is made of; `null` where nobody recorded it."
    )
    moving: StrictBool | None = Field(
        default=None, description="Whether it slides or flexes in use, as a pump seal does."
    )


class Need(Model):
    """Something else that the part needs to be installed."""

    kind: Literal["seal", "clamp", "hose-end", "terminal", "relay", "fuse", "wire", "fastener-set"]
    quantity: Count = 1
    sku: Sku | None = Field(default=None, description="Exactly this part, where it must be.")
    size: Words | None = Field(default=None, description="Size of the needed part.")
    why: Words | None = Field(default=None, description="What it is for.")


class CurvePoint(Model):
    """One measured point of a pump: flow, and current where it was measured, at a pressure."""

    pressure_kpa: PressureKpa
    flow_lph: FlowOrNoneLph
    current_a: CurrentA | None = None


class PumpCurve(Model):
    """A pump's measured points at one voltage; an unstated test voltage stays unknown."""

    voltage_v: VoltageV | None = None
    points: Annotated[tuple[CurvePoint, ...], AtLeastOne, Field(max_length=200)]

    @model_validator(mode="after")
    def _rising(self) -> Self:
        pressures = [p.pressure_kpa for p in self.points]
        for index, (before, pressure) in enumerate(itertools.pairwise(pressures), 1):
            if pressure <= before:
                raise fault(
                    "The points of a pump curve must rise in pressure.",
                    "points in order of pressure",
                    ("points", index, "pressure"),
                )
        return self


class DropPoint(Model):
    """Pressure drop measured at a flow."""

    flow_lph: FlowOrNoneLph
    drop_kpa: PressureKpa


DropCurve = Annotated[tuple[DropPoint, ...], AtLeastOne, Field(max_length=200)]


class HoseMarks(Model):
    """What every flexible hose has in common."""

    construction: Construction | None = None
    bore_mm: BoreMm | None = None
    outside_diameter_mm: BoreMm | None = None
    minimum_bend_radius_mm: LengthMm | None = None
    series: Words | None = Field(
        default=None, description="Maker's series; hose ends are made for one series of hose."
    )
    marked: tuple[Marking, ...] | None = Field(
        default=None, description="Classes printed on the hose; empty when it carries none."
    )


class PumpSpec(Model):
    """Pump."""

    mount: PumpMount | None = None
    curves: tuple[PumpCurve, ...] | None = Field(default=None, max_length=20)
    relief_pressure_kpa: PressureKpa | None = Field(
        default=None, description="Pressure at which the pump's own relief valve opens."
    )
    dead_head_pressure_kpa: PressureKpa | None = Field(
        default=None, description="Pressure at no flow."
    )
    maximum_current_a: CurrentA | None = None
    check_valve: StrictBool | None = None
    speed_control: StrictBool | None = Field(
        default=None, description="Whether its maker allows speed control."
    )
    body_diameter_mm: BoreMm | None = None
    inlet_fineness_at_least_um: FinenessUm | None = Field(
        default=None, description="Finest strainer its maker allows on the suction side."
    )
    inlet_area_at_least_mm2: AreaMm2 | None = Field(
        default=None, description="Least strainer area its maker asks for on the suction side."
    )


class TankModuleSpec(Model):
    """Tank module: the hat with its hanger."""

    body_diameters_mm: tuple[BoreMm, ...] | None = Field(default=None, max_length=10)
    pump_places: Count | None = None
    built_in_regulator: StrictBool | None = None
    built_in_set_pressure_kpa: PressureKpa | None = None
    jet_drive: Literal["none", "return-flow", "feed-bleed", "regulator-spill"] | None = None
    terminal_current_a: CurrentA | None = None


class TankSpec(Model):
    """Tank."""

    shape: Literal["single", "saddle"] | None = None
    volume_l: VolumeL | None = None


class SurgeTankSpec(Model):
    """Surge tank."""

    volume_l: VolumeL | None = None


class HoseAssemblySpec(HoseMarks):
    """Hose assembly: a hose with its ends on."""

    length_mm: LengthMm | None = None
    clock_angle_deg: AngleDeg | None = Field(
        default=None, description="Angle between two bent ends, looking along the hose."
    )


class BulkHoseSpec(HoseMarks):
    """Bulk hose, sold by length."""

    size: Words | None = Field(default=None, description="Trade size, e.g. `-6`.")


class HardLineSpec(Model):
    """Hard line: rigid tube."""

    outside_diameter_mm: BoreMm | None = None
    bore_mm: BoreMm | None = None
    length_mm: LengthMm | None = None


class HoseEndSpec(Model):
    """Hose end: what is put on a cut hose."""

    for_construction: Construction | None = None
    series: Words | None = Field(
        default=None, description="Maker's series; sockets and nipples do not mix between series."
    )
    fixing: Literal["crimped", "reusable", "push-on"] | None = None
    bore_mm: BoreMm | None = None


class AdapterSpec(Model):
    """Adapter."""

    form: AdapterForm | None = None


class TeeSpec(Model):
    """Tee or Y."""

    form: Literal["tee", "wye", "cross"] | None = None


class BulkheadSpec(Model):
    """Bulkhead: passes through a wall or a tank."""

    panel_hole_mm: BoreMm | None = None
    seals_both_faces: StrictBool | None = None


class QuickConnectorSpec(Model):
    """Quick connector."""

    tube_outside_diameter_mm: BoreMm | None = Field(
        default=None, description="Tube side, which is not the size of the end form."
    )


class FilterSpec(Model):
    """Filter."""

    fineness_um: FinenessUm | None = None
    fineness_rating: Literal["nominal", "absolute"] | None = None
    media: MediaKind | None = None
    area_mm2: AreaMm2 | None = None
    drop: DropCurve | None = None
    directional: StrictBool | None = Field(
        default=None, description="Whether flow may pass one way only."
    )


class StrainerSpec(Model):
    """Strainer: the coarse sock before a pump."""

    fineness_um: FinenessUm | None = None
    area_mm2: AreaMm2 | None = None


class CheckValveSpec(Model):
    """Check valve."""

    opening_pressure_kpa: PressureKpa | None = None
    drop: DropCurve | None = None


class RailSpec(Model):
    """Rail."""

    bore_mm: BoreMm | None = None
    length_mm: LengthMm | None = None
    injector_pitch_mm: LengthMm | None = None


class RegulatorSpec(Model):
    """Regulator."""

    action: RegulatorAction | None = None
    reference: PressureReference | None = None
    set_pressure_kpa: PressureKpa | None = None
    set_pressure_least_kpa: PressureKpa | None = None
    set_pressure_most_kpa: PressureKpa | None = None
    maximum_flow_lph: FlowLph | None = None
    seat_bore_mm: BoreMm | None = Field(
        default=None, description="Equivalent orifice when fully open."
    )
    upstream_fineness_at_most_um: FinenessUm | None = None
    damped: StrictBool | None = None


class InjectorSpec(Model):
    """Injector. A flow without the pressure it was measured at says nothing."""

    flow_cc_min: FlowCcMin | None = None
    flow_pressure_kpa: PressureKpa | None = None
    test_fluid_density_kg_m3: DensityKgM3 | None = None
    maximum_pressure_kpa: PressureKpa | None = None
    upstream_fineness_at_most_um: FinenessUm | None = None
    coil_resistance_ohm: ResistanceOhm | None = None
    length_mm: LengthMm | None = None
    plug: Words | None = None
    dead_time_ms: TimeMs | None = None


class PulsationDamperSpec(Model):
    """Pulsation damper."""

    service_years: Count | None = None


class SiphonJetSpec(Model):
    """Siphon jet: moves fuel across a tank with a stream of driven fuel."""

    nozzle_bore_mm: BoreMm | None = None
    drive_flow_lph: FlowLph | None = None


class SensorSpec(Model):
    """Sensor."""

    senses: SensedQuantity | None = None
    range_most_kpa: PressureKpa | None = None


class CapSpec(Model):
    """Cap or plug."""

    form: Literal["cap", "plug"] | None = None


class SealSpec(Model):
    """Seal or washer."""

    form: SealForm | None = None
    size: Words | None = Field(default=None, description="What it fits: `-6`, `M12`, `AS568-906`.")
    pieces: Count | None = Field(default=None, description="How many come in one pack.")
    reused: StrictBool | None = Field(default=None, description="Whether it was fitted before.")


class ClampSpec(Model):
    """Clamp."""

    style: ClampStyle | None = None
    least_diameter_mm: BoreMm | None = None
    most_diameter_mm: BoreMm | None = None


class RelaySpec(Model):
    """Relay."""

    rating_a: CurrentA | None = None
    solid_state: StrictBool | None = None


class FuseSpec(Model):
    """Fuse."""

    rating_a: CurrentA | None = None


class WireSpec(Model):
    """Wire."""

    area_mm2: AreaMm2 | None = None
    limit_a: CurrentA | None = None


class TerminalSpec(Model):
    """Terminal or connector."""

    rating_a: CurrentA | None = None
    plug: Words | None = None


class FastenerSetSpec(Model):
    """Fastener set."""

    contents: Words | None = None


class SealantSpec(Model):
    """Thread sealant."""

    sealant: SealantKind | None = None


class PartBase(Model):
    """What every component has, whatever its kind."""

    sku: Sku | None = Field(default=None, description="Part number; none for a part made to order.")
    name: Words = Field(description="What the shop calls it.")
    supplier: Words | None = None
    lifecycle: Lifecycle = Field(default="sold", description="Whether the shop sells it.")
    superseded_by: Sku | None = Field(default=None, description="Its successor.")
    ports: tuple[Port, ...] = Field(default=(), max_length=40)
    wetted: tuple[Wetted, ...] | None = Field(
        default=None,
        max_length=40,
        description="Materials that fuel touches; `null` where nobody recorded them.",
    )
    working_pressure_kpa: PressureKpa | None = None
    temperature_least_c: TemperatureC | None = None
    temperature_most_c: TemperatureC | None = None
    standards: tuple[Words, ...] = Field(
        default=(), max_length=20, description="Standards the part is marked with."
    )
    approved_fuels: tuple[KnownFuelId, ...] | None = Field(
        default=None, max_length=20, description="Fuels its maker approves."
    )
    excluded_fuels: tuple[KnownFuelId, ...] = Field(
        default=(), max_length=20, description="Fuels its maker rules out."
    )
    mass_g: MassG | None = None
    price: Price | None = None
    needs: tuple[Need, ...] = Field(default=(), max_length=20)

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        ids = [port.id for port in self.ports]
        if (again := second_of_a_name(ids)) is not None:
            raise fault(
                f"Two ports are called `{ids[again]}`.",
                "a different `id` for each port",
                ("ports", again, "id"),
            )
        if self.superseded_by is not None and self.superseded_by == self.sku:
            raise fault(
                "A part cannot supersede itself.",
                "the SKU of another part, or null",
                ("superseded_by",),
            )
        for index, fuel in enumerate(self.excluded_fuels):
            if fuel in (self.approved_fuels or ()):
                raise fault(
                    f"The fuel `{fuel}` is approved and excluded.",
                    "each fuel in one of `approved_fuels` and `excluded_fuels`",
                    ("excluded_fuels", index),
                )
        least, most = self.temperature_least_c, self.temperature_most_c
        if least is not None and most is not None and least > most:
            raise fault(
                "`temperature_least` is above `temperature_most`.",
                "the lower temperature as `temperature_least`",
                ("temperature_least",),
            )
        return self


class PumpPart(PartBase):
    """A component of kind `pump`."""

    kind: Literal["pump"]
    spec: PumpSpec = PumpSpec()


class TankModulePart(PartBase):
    """A component of kind `tank-module`."""

    kind: Literal["tank-module"]
    spec: TankModuleSpec = TankModuleSpec()


class TankPart(PartBase):
    """A component of kind `tank`."""

    kind: Literal["tank"]
    spec: TankSpec = TankSpec()


class SurgeTankPart(PartBase):
    """A component of kind `surge-tank`."""

    kind: Literal["surge-tank"]
    spec: SurgeTankSpec = SurgeTankSpec()


class HoseAssemblyPart(PartBase):
    """A component of kind `hose-assembly`."""

    kind: Literal["hose-assembly"]
    spec: HoseAssemblySpec = HoseAssemblySpec()


class BulkHosePart(PartBase):
    """A component of kind `bulk-hose`."""

    kind: Literal["bulk-hose"]
    spec: BulkHoseSpec = BulkHoseSpec()


class HardLinePart(PartBase):
    """A component of kind `hard-line`."""

    kind: Literal["hard-line"]
    spec: HardLineSpec = HardLineSpec()


class HoseEndPart(PartBase):
    """A component of kind `hose-end`."""

    kind: Literal["hose-end"]
    spec: HoseEndSpec = HoseEndSpec()


class AdapterPart(PartBase):
    """A component of kind `adapter`."""

    kind: Literal["adapter"]
    spec: AdapterSpec = AdapterSpec()


class TeePart(PartBase):
    """A component of kind `tee`."""

    kind: Literal["tee"]
    spec: TeeSpec = TeeSpec()


class BulkheadPart(PartBase):
    """A component of kind `bulkhead`."""

    kind: Literal["bulkhead"]
    spec: BulkheadSpec = BulkheadSpec()


class QuickConnectorPart(PartBase):
    """A component of kind `quick-connector`."""

    kind: Literal["quick-connector"]
    spec: QuickConnectorSpec = QuickConnectorSpec()


class FilterPart(PartBase):
    """A component of kind `filter`."""

    kind: Literal["filter"]
    spec: FilterSpec = FilterSpec()


class StrainerPart(PartBase):
    """A component of kind `strainer`."""

    kind: Literal["strainer"]
    spec: StrainerSpec = StrainerSpec()


class CheckValvePart(PartBase):
    """A component of kind `check-valve`."""

    kind: Literal["check-valve"]
    spec: CheckValveSpec = CheckValveSpec()


class RailPart(PartBase):
    """A component of kind `rail`."""

    kind: Literal["rail"]
    spec: RailSpec = RailSpec()


class RegulatorPart(PartBase):
    """A component of kind `regulator`."""

    kind: Literal["regulator"]
    spec: RegulatorSpec = RegulatorSpec()


class InjectorPart(PartBase):
    """A component of kind `injector`."""

    kind: Literal["injector"]
    spec: InjectorSpec = InjectorSpec()


class PulsationDamperPart(PartBase):
    """A component of kind `pulsation-damper`."""

    kind: Literal["pulsation-damper"]
    spec: PulsationDamperSpec = PulsationDamperSpec()


class SiphonJetPart(PartBase):
    """A component of kind `siphon-jet`."""

    kind: Literal["siphon-jet"]
    spec: SiphonJetSpec = SiphonJetSpec()


class SensorPart(PartBase):
    """A component of kind `sensor`."""

    kind: Literal["sensor"]
    spec: SensorSpec = SensorSpec()


class CapPart(PartBase):
    """A component of kind `cap`."""

    kind: Literal["cap"]
    spec: CapSpec = CapSpec()


class SealPart(PartBase):
    """A component of kind `seal`."""

    kind: Literal["seal"]
    spec: SealSpec = SealSpec()


class ClampPart(PartBase):
    """A component of kind `clamp`."""

    kind: Literal["clamp"]
    spec: ClampSpec = ClampSpec()


class RelayPart(PartBase):
    """A component of kind `relay`."""

    kind: Literal["relay"]
    spec: RelaySpec = RelaySpec()


class FusePart(PartBase):
    """A component of kind `fuse`."""

    kind: Literal["fuse"]
    spec: FuseSpec = FuseSpec()


class WirePart(PartBase):
    """A component of kind `wire`."""

    kind: Literal["wire"]
    spec: WireSpec = WireSpec()


class TerminalPart(PartBase):
    """A component of kind `terminal`."""

    kind: Literal["terminal"]
    spec: TerminalSpec = TerminalSpec()


class FastenerSetPart(PartBase):
    """A component of kind `fastener-set`."""

    kind: Literal["fastener-set"]
    spec: FastenerSetSpec = FastenerSetSpec()


class SealantPart(PartBase):
    """A component of kind `sealant`."""

    kind: Literal["sealant"]
    spec: SealantSpec = SealantSpec()


Component = Annotated[
    PumpPart
    | TankModulePart
    | TankPart
    | SurgeTankPart
    | HoseAssemblyPart
    | BulkHosePart
    | HardLinePart
    | HoseEndPart
    | AdapterPart
    | TeePart
    | BulkheadPart
    | QuickConnectorPart
    | FilterPart
    | StrainerPart
    | CheckValvePart
    | RailPart
    | RegulatorPart
    | InjectorPart
    | PulsationDamperPart
    | SiphonJetPart
    | SensorPart
    | CapPart
    | SealPart
    | ClampPart
    | RelayPart
    | FusePart
    | WirePart
    | TerminalPart
    | FastenerSetPart
    | SealantPart,
    Field(discriminator="kind"),
]
"""A component of any kind; `kind` says which specification it carries."""

COMPONENT: TypeAdapter[Component] = TypeAdapter(Component)


def read_component(given: Any) -> Component:
    """A component from its edge form (a mapping as in JSON).

    Raises:
        pydantic.ValidationError: with every fault of the mapping.
    """
    return COMPONENT.validate_python(given)
