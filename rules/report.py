"""What a check answers: findings with their evidence, and one verdict.

The same request, book and catalogue give the same report, byte for byte: nothing here depends on
time, chance or the order of a set.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from rules.parts import Model

Severity = Literal["error", "warning", "note", "unknown"]
Verdict = Literal["fits", "fits-with-cautions", "does-not-fit", "cannot-tell"]


class Evidence(Model):
    """One fact that a finding rests on, with its value, unit and where it came from."""

    fact: str
    value: str | int | float | bool | tuple[str, ...] | None = Field(
        description="`null` where the fact is not recorded."
    )
    unit: str | None = None
    of: str = Field(description="The part, port or application it belongs to.")
    origin: str = Field(alias="from", description="Catalogue, request, reference table, computed.")


class Subject(Model):
    """What a finding is about."""

    about: Literal[
        "part",
        "material",
        "port",
        "joint",
        "run",
        "assembly",
        "flow",
        "flow-point",
        "flow-part",
    ]
    refs: tuple[str, ...]
    ports: tuple[str, ...] = ()
    pointer: str = Field(description="RFC 6901 pointer to the first place in the request.")
    pointers: tuple[str, ...] = Field(description="Pointers to every place the finding holds.")


class Suggestion(Model):
    """A part to add or to put in place of another."""

    sku: str
    quantity: int
    name: str
    replaces: tuple[str, ...] = Field(default=(), description="Refs it takes the place of.")
    between: tuple[tuple[str, ...], ...] = Field(
        default=(),
        description="For each place the ports of the list that it goes between, or that it closes.",
    )
    needs: tuple[str, ...] = Field(
        default=(),
        description=(
            "What must go in with it: by SKU where that is suggested here too, else in words."
        ),
    )


class Remedy(Model):
    """What to change, with parts of the catalogue where one is stocked."""

    text: str
    add: tuple[Suggestion, ...] = ()
    replace: tuple[Suggestion, ...] = ()


class Finding(Model):
    """One cause, with everything it affects."""

    rule: str
    severity: Severity
    could_be: Literal["error", "warning", "note"] | None = Field(
        default=None, description="For an unknown: the severity if the worst turned out true."
    )
    open_rules: tuple[str, ...] = Field(
        default=(), description="For an unknown: the rules that stay open without it."
    )
    subject: Subject
    message: str = Field(description="Short enough to read aloud.")
    because: tuple[Evidence, ...]
    explanation: str = Field(description="Long enough to print.")
    remedy: Remedy
    sources: tuple[str, ...]
    cautions: tuple[str, ...] = ()


class NotChecked(Model):
    """Something the report does not speak about, and why."""

    what: str
    why: str


class Figure(Model):
    """A computed number with its unit."""

    value: float = Field(description="The number, to four digits.")
    unit: str = Field(description="Its unit.")


class FlowDemand(Model):
    """The fuel that the power takes."""

    mass: Figure = Field(description="Mass of fuel burnt in a time.")
    volume: Figure = Field(description="The same by volume, at the temperature of the fuel.")
    crank_power: Figure = Field(description="Power at the crank that it is reckoned from.")


class FlowAssumption(Model):
    """A number that the flow rests on, and who says so."""

    name: str = Field(description="What it is.")
    value: Figure = Field(description="The number used.")
    least: Figure | None = Field(default=None, description="Lowest usual value.")
    most: Figure | None = Field(default=None, description="Highest usual value.")
    origin: str = Field(alias="from", description="Request, reference table, common practice.")


class FlowDrop(Model):
    """What a part costs in a line."""

    ref: str
    line: str = Field(description="The line it is in: suction, transfer, feed or return.")
    drop: Figure = Field(description="Pressure lost in it.")
    share: float | None = Field(
        default=None,
        description="Of the drop from pump to rail, or of that of the return; `null` elsewhere.",
    )
    flow: Figure = Field(description="Flow through it.")
    bore: Figure | None = Field(default=None, description="Its narrowest hole, where recorded.")
    velocity: Figure | None = Field(default=None, description="Mean velocity in that hole.")


class FlowJoint(Model):
    """Pressure and flow where ports meet."""

    ports: tuple[str, ...] = Field(description="The ports that meet there.")
    pressure: Figure = Field(description="Gauge pressure there.")
    flow: Figure = Field(description="Flow that passes there.")


class FlowPump(Model):
    """A pump at its working point."""

    ref: str
    flow: Figure = Field(description="What it delivers.")
    outlet_pressure: Figure = Field(description="Gauge pressure at its outlet.")
    inlet_pressure: Figure = Field(description="Absolute pressure at its inlet.")
    current: Figure | None = Field(
        default=None, description="What it draws, where its current was measured."
    )


class FlowPoint(Model):
    """The system at one operating point."""

    name: str = Field(description="What it is called.")
    held: bool | None = Field(
        description="Whether the rail is within 5 % of the base pressure of its target; `null` "
        "where it cannot be told."
    )
    rail_pressure: Figure | None = Field(description="Lowest gauge pressure at any injector.")
    target: Figure = Field(description="Rail pressure wanted there.")
    pump_flow: Figure | None = Field(description="What the feed pumps deliver together.")
    burnt: Figure | None = Field(default=None, description="What the injectors pass.")
    goes_back: Figure | None = Field(default=None, description="What regulators spill.")
    voltage: Figure | None = Field(default=None, description="Voltage at the pump.")
    fuel_temperature: Figure = Field(description="Temperature of the fuel there.")
    drops: tuple[FlowDrop, ...] = Field(
        default=(),
        description="Every part in the order of the fuel; at full load, at idle, at named points.",
    )
    joints: tuple[FlowJoint, ...] = Field(
        default=(),
        description="Every joint that fuel passes; at full load, at idle, at named points.",
    )
    pumps: tuple[FlowPump, ...] = Field(default=(), description="Each pump at its working point.")
    why: str | None = Field(default=None, description="Why it cannot be told.")


class FlowLimit(Model):
    """What the power would be without the limit of one part."""

    ref: str
    supports_power_without_it: Figure | None = Field(
        description="Power supported if this part alone were perfect; `null` where nothing that is "
        "known would limit it then."
    )
    limits_next: str | None = Field(
        default=None, description="Ref of the part that limits then, where that is known."
    )


class FlowInjectors(Model):
    """The injectors at full load."""

    refs: tuple[str, ...] = Field(description="Their refs.")
    pieces: int = Field(description="How many there are.")
    pressure_across: Figure = Field(description="Rail pressure less manifold pressure.")
    static_flow: Figure = Field(description="Flow of one held open, on this fuel.")
    duty: float = Field(description="Share of the cycle they stay open; above 1 is out of reach.")
    duty_limit: float = Field(description="The highest share that counts as right.")
    supports_power: Figure = Field(description="Power at the highest right duty.")


class FlowUncertainty(Model):
    """Something that is not recorded, and between what it was taken to lie."""

    what: str = Field(description="What is not recorded.")
    of: str
    least: Figure | None = Field(default=None, description="Lowest known value.")
    most: Figure | None = Field(default=None, description="Highest known value.")


class Flow(Model):
    """The flow: what the engine asks for, what the system delivers, and what limits it.

    Where something is not recorded but bracketed, the figures are those of its worse end.
    """

    demand: FlowDemand
    points: tuple[FlowPoint, ...] = Field(description="The operating points; full load is first.")
    supports_power: Figure | None = Field(
        description="Power, where it was asked for, that is supported with the rail held and the "
        "injectors within their duty limit."
    )
    supports_power_at_best: Figure | None = Field(
        default=None, description="The same at the better end of what is not recorded."
    )
    limited_by: tuple[FlowLimit, ...] = Field(
        description="Parts by what the power would be without their limit, the most first."
    )
    injectors: FlowInjectors | None = None
    pump_heat: Figure | None = Field(
        default=None, description="What the pumps put into the fuel at idle."
    )
    uncertain: tuple[FlowUncertainty, ...] = Field(
        default=(), description="What is not recorded, and what stood for it."
    )
    assumptions: tuple[FlowAssumption, ...] = Field(
        default=(), description="Every number that was not in the request or the catalogue."
    )
    remarks: tuple[str, ...] = Field(default=(), description="What the figures leave out.")


class SwitchedOff(Model):
    """A built-in rule that the shop's own book has switched off."""

    rule: str
    reason: str


class ChangedSeverity(Model):
    """A built-in rule whose severity the shop's own book has changed."""

    rule: str
    was: str
    now: str
    reason: str


class BookStamp(Model):
    """Which book judged."""

    version: str
    switched_off: tuple[SwitchedOff, ...] = ()
    changed: tuple[ChangedSeverity, ...] = ()


class Counts(Model):
    """Findings by severity."""

    error: int = 0
    warning: int = 0
    note: int = 0
    unknown: int = 0


class Report(Model):
    """The answer to a check."""

    verdict: Verdict
    counts: Counts
    findings: tuple[Finding, ...]
    flow: Flow | None = Field(
        default=None, description="What flows; `null` where the request names no power."
    )
    not_checked: tuple[NotChecked, ...]
    cautions: tuple[str, ...] = Field(
        description="What anyone working on a fuel system must know, whatever the verdict."
    )
    book: BookStamp
    catalogue_revision: int
    fingerprint: Annotated[
        str, Field(description="Of the request, the book's version and the catalogue revision.")
    ]


def verdict(findings: tuple[Finding, ...]) -> Verdict:
    """The verdict that findings add up to.

    An error stands whatever else is unknown. An unknown that could be an error leaves the answer
    open; one that could at most be a warning is a caution itself.
    """
    if any(f.severity == "error" for f in findings):
        return "does-not-fit"
    if any(f.severity == "unknown" and f.could_be == "error" for f in findings):
        return "cannot-tell"
    if any(f.severity in ("warning", "unknown") for f in findings):
        return "fits-with-cautions"
    return "fits"
