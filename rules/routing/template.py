"""Circuit templates: which stations a circuit has, in which order, and what lies between them.

A template is data (`circuits/*.yaml`); a shop may add a directory of its own. All faults of all
files are reported at once, with line and caret, before anything is laid out by them.

A *station* is a place for one part: pump, filter, rail. A *link* is the way from one station to the
next and is filled by hoses and adapters. An *inline* part sits in a link where the list holds it:
an ethanol sensor, a check valve, the steel line of the car. A *branch* ends at a port that nothing
else takes: a pressure sensor, a damper.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any, Literal, TypeVar, cast, get_args

import yaml

from rules.bookfile import BookFault, BookFaults, BookFile, plain_value
from rules.facttypes import did_you_mean
from rules.parts import Component, Port
from rules.vocabulary import Circuit as CircuitWord
from rules.vocabulary import Kind, Line, Role, System, words

Presence = Literal["needed", "optional", "car"]
Condition = Literal["boosted", "fuel-varies"]
By = Literal["hose", "anything"]
Repeat = Literal["parallel", "series"]

_T = TypeVar("_T")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a specification must say: one of some words, or a number within bounds.

    A part of which nobody recorded it may serve: the rules will ask.
    """

    attribute: str
    words: tuple[object, ...] = ()
    least: float | None = None
    most: float | None = None

    def met_by(self, part: Component) -> bool:
        """Whether the part's record says so, or leaves it open."""
        value = getattr(part.spec, self.attribute, None)
        if value is None:
            return True
        if self.words:
            return value in self.words
        return (self.least is None or value >= self.least) and (
            self.most is None or value <= self.most
        )


@dataclass(frozen=True, slots=True)
class Selector:
    """Which ports of a part are meant; what is empty or `None` does not matter.

    A port of which nobody recorded whether it lies in the fuel may be meant either way.
    """

    roles: tuple[Role, ...]
    systems: tuple[System, ...] = ()
    except_systems: tuple[System, ...] = ()
    submerged: bool | None = None
    where: tuple[Wanted, ...] = ()

    def ports(self, part: Component) -> tuple[Port, ...]:
        """The ports of a part that are meant, in the part's order."""
        if not all(wanted.met_by(part) for wanted in self.where):
            return ()
        return tuple(port for port in part.ports if self._means(port))

    def _means(self, port: Port) -> bool:
        system = port.connection.system if port.connection else None
        return (
            port.role in self.roles
            and (not self.systems or system in self.systems)
            and system not in self.except_systems
            and (self.submerged is None or port.submerged in (None, self.submerged))
        )


@dataclass(frozen=True, slots=True)
class Station:
    """A place for one part.

    Attributes:
        id: name in the template, unique.
        kinds: kinds of part that may stand there.
        where: what their specification must say.
        called: names by which the vehicle's runs speak of it.
        presence: `needed` is asked for where it is missing; `optional` counts only where it is
            there; `car` is a part of the car, which the list need not hold.
        car: for `car`, what the port then joins, in words.
        repeat: how several stand: side by side, or one after the other.
        beside: the station that has one of this each.
        needed_when: condition under which an optional station is recommended: it is offered, and
            the circuit goes together without it.
        of_vehicle: whether only the vehicle's own parts may stand there.
        ports: its ports by their names in the template; the first selector that finds any decides.
    """

    id: str
    kinds: tuple[Kind, ...]
    where: tuple[Wanted, ...]
    called: tuple[str, ...]
    presence: Presence
    car: str | None
    repeat: Repeat | None
    beside: str | None
    needed_when: Condition | None
    of_vehicle: bool
    ports: Mapping[str, tuple[Selector, ...]]

    @property
    def required(self) -> bool:
        """Whether the circuit cannot do without it."""
        return self.presence == "needed"

    def takes(self, part: Component) -> bool:
        """Whether a part of this kind and specification may stand here."""
        return part.kind in self.kinds and all(wanted.met_by(part) for wanted in self.where)

    def ports_of(self, part: Component, name: str) -> tuple[Port, ...]:
        """The ports of a part that serve as the station's port of this name."""
        found = (selector.ports(part) for selector in self.ports[name])
        return next((ports for ports in found if ports), ())


@dataclass(frozen=True, slots=True)
class Link:
    """The way from one station's port to another's.

    Attributes:
        id: name in the template, unique.
        start: station and port where the fuel comes from.
        end: station and port where it goes to.
        line: which line of the circuit it is.
        inside_tank: whether it lies in the fuel.
        by: `hose` where the two stand apart, so that a hose or line must be among what fills it.
        mounts: whether the two may be screwed together although the vehicle has a run between them.
        holds: inline stations that may sit in it.
        car_when: condition under which the link matters where its far station is the car's.
    """

    id: str
    start: tuple[str, str]
    end: tuple[str, str]
    line: Line
    inside_tank: bool
    by: By
    mounts: bool
    holds: tuple[str, ...]
    car_when: Condition | None


@dataclass(frozen=True, slots=True)
class Template:
    """A circuit.

    Attributes:
        id: unique over all templates.
        name: in words.
        preference: among templates that serve as well, the lowest is taken.
        serves: what the application may say of the circuit.
        holds: kinds of part without which the template does not apply.
        without: kinds of part with which it does not apply.
        stations: in the order of the flow.
        inline: stations inside links.
        branches: stations at ports that nothing else takes, with the line they are in.
        links: in the order of the flow.
    """

    id: str
    name: str
    preference: int
    serves: tuple[CircuitWord, ...]
    holds: tuple[Kind, ...]
    without: tuple[Kind, ...]
    stations: Mapping[str, Station]
    inline: Mapping[str, Station]
    branches: Mapping[str, Station]
    branch_lines: Mapping[str, Line]
    links: tuple[Link, ...]


@dataclass(frozen=True)
class Templates:
    """The templates in force, the most preferred first.

    `version` is a digest of their texts: another answer may come of other templates.
    """

    templates: tuple[Template, ...]
    version: str

    @cached_property
    def kinds(self) -> frozenset[Kind]:
        """Kinds of part that some circuit has a place for."""
        return frozenset(
            kind
            for template in self.templates
            for section in (template.stations, template.inline, template.branches)
            for station in section.values()
            for kind in station.kinds
        )

    def get(self, template_id: str) -> Template | None:
        """The template of this id."""
        return next((each for each in self.templates if each.id == template_id), None)


@cache
def _built_in() -> Templates:
    with as_file(files("rules.routing") / "circuits") as directory:
        return _read([directory])


def load_templates(shop_directory: Path | None = None) -> Templates:
    """The built-in templates, with those of a shop's own directory beside them.

    A shop's template has an id of its own: none of the built-in ones is replaced. Where both serve
    a cart as well, the one with the lower `preference` is taken.

    Raises:
        BookFaults: with every fault of every file.
    """
    if shop_directory is None:
        return _built_in()
    with as_file(files("rules.routing") / "circuits") as directory:
        return _read([directory, shop_directory])


def _read(directories: Sequence[Path]) -> Templates:
    faults: list[BookFault] = []
    found: dict[str, Template] = {}
    contents = []
    for file in _files(directories, faults):
        template = _Reader(file).template() if file.root is not None else None
        if template is not None and template.id in found and file.root is not None:
            file.fault(file.root, f'there is a template "{template.id}" already')
        elif template is not None:
            found[template.id] = template
        faults += file.faults
        contents.append(file.content)
    if faults:
        raise BookFaults(faults)
    digest = hashlib.sha256("\0".join(contents).encode()).hexdigest()[:12]
    ordered = sorted(found.values(), key=lambda each: (each.preference, each.id))
    return Templates(tuple(ordered), digest)


def _files(directories: Sequence[Path], faults: list[BookFault]) -> list[BookFile]:
    read = []
    for directory in directories:
        if not directory.is_dir():
            faults.append(BookFault(directory, "there is no such directory"))
            continue
        paths = sorted(path for path in directory.iterdir() if path.suffix in (".yaml", ".yml"))
        if not paths:
            faults.append(BookFault(directory, "the directory holds no circuit template (*.yaml)"))
        read += [BookFile(path) for path in paths]
    return read


# The written form -------------------------------------------------------------------------------

_SLUG = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def _form(required: str, optional: str = "") -> Mapping[str, Any]:
    names = [*required.split(), *optional.split()]
    return {"properties": dict.fromkeys(names), "required": required.split()}


_TEMPLATE = _form("id name preference serves stations links", "holds without inline branches")
_STATION = _form("kinds ports", "where called presence car repeat beside needed_when of_vehicle")
_INLINE = _form("kinds", "where called presence needed_when of_vehicle")
_BRANCH = _form("kinds line", "where called")
_LINK = _form("from to line", "id inside_tank by mounts holds car_when")
_SELECTOR = _form("roles", "systems except_systems submerged where")
_BOUNDS = _form("", "least most")

# A part that sits in a link is entered and left by any of the ports that carry flow.
_THROUGH = {
    "in": (Selector(roles=("inlet", "either")),),
    "out": (Selector(roles=("outlet", "either")),),
}
_TIP = {"port": (Selector(roles=("inlet", "either", "sense")),)}


class _Reader:
    """Reads one file; what is wrong is noted in the file, and reading goes on."""

    def __init__(self, file: BookFile) -> None:
        self.file = file
        self.keys: dict[str, yaml.Node] = {}
        self.besides: dict[str, yaml.Node] = {}
        self.unsure: set[str] = set()

    def template(self) -> Template | None:
        entries = self.file.mapping(self.file.root, "a circuit template", _TEMPLATE)
        stations = self.stations(entries.get("stations"), _STATION, "stations")
        inline = self.stations(entries.get("inline"), _INLINE, "inline")
        branches = self.stations(entries.get("branches"), _BRANCH, "branches")
        links = self.links(entries.get("links"), stations, inline)
        self.names(entries)
        self.pairs(stations)
        self.reached(stations, inline, links)
        template_id = self.slug(entries.get("id"), "the id")
        name = self.file.text(entries.get("name"), "the name")
        preference = self.plain(
            entries.get("preference"), "the preference", "a whole number", (int,)
        )
        serves = self.words(entries.get("serves"), "serves", words(CircuitWord))
        if self.file.faults or template_id is None or name is None or preference is None:
            return None
        return Template(
            id=template_id,
            name=name,
            preference=preference,
            serves=cast("tuple[CircuitWord, ...]", serves),
            holds=self.kinds(entries.get("holds")),
            without=self.kinds(entries.get("without")),
            stations={key: each for key, (each, _) in stations.items()},
            inline={key: each for key, (each, _) in inline.items()},
            branches={key: each for key, (each, _) in branches.items()},
            branch_lines={
                key: cast(Line, line) for key, (_, line) in branches.items() if line is not None
            },
            links=tuple(links),
        )

    def stations(
        self, node: yaml.Node | None, form: Mapping[str, Any], what: str
    ) -> dict[str, tuple[Station, str | None]]:
        """The stations of a section by id, each with the line a branch is in."""
        found = {}
        for key, value in self.file.entries(node, what) if node is not None else []:
            if not _SLUG.fullmatch(key.value):
                self.file.fault(key, "an id is lower-case words joined by hyphens")
            self.keys.setdefault(key.value, key)
            found[key.value] = self.station(key.value, value, form)
        return found

    def station(
        self, station_id: str, node: yaml.Node, form: Mapping[str, Any]
    ) -> tuple[Station, str | None]:
        entries = self.file.mapping(node, f'station "{station_id}"', form)
        kinds = self.kinds(entries.get("kinds"))
        presence = self.choice(entries.get("presence"), "presence", words(Presence))
        car = self.file.text(entries.get("car"), "car")
        if presence == "car" and car is None:
            self.file.fault(
                node, f'station "{station_id}" is the car\'s: "car" must say what it is'
            )
        own_ports = "ports" in form["properties"]
        ports = self.ports(entries.get("ports"), kinds) if own_ports else _THROUGH
        if form is _BRANCH:
            ports = _TIP
        default: Presence = "needed" if own_ports else "optional"
        station = Station(
            id=station_id,
            kinds=kinds,
            where=self.where(entries.get("where"), kinds),
            called=tuple(text for text, _ in self.texts(entries.get("called"), "called")),
            presence=cast(Presence, presence or default),
            car=car,
            repeat=cast(
                "Repeat | None", self.choice(entries.get("repeat"), "repeat", words(Repeat))
            ),
            beside=self.beside(station_id, entries.get("beside")),
            needed_when=self.condition(entries.get("needed_when")),
            of_vehicle=self.flag(entries.get("of_vehicle"), "of_vehicle") or False,
            ports=ports,
        )
        if "repeat" in entries and station.repeat is None:
            self.unsure.add(station_id)
        line = self.choice(entries.get("line"), "line", words(Line))
        return station, line

    def names(self, entries: Mapping[str, yaml.Node]) -> None:
        """A name stands for one station: a cart speaks of it without saying of which section."""
        taken: dict[str, str] = {}
        for section in ("stations", "inline", "branches"):
            node = entries.get(section)
            keys = [key for key, _ in node.value] if isinstance(node, yaml.MappingNode) else []
            for key in keys:
                held = taken.setdefault(key.value, section)
                if held != section:
                    self.file.fault(key, f'there is a "{key.value}" among the {held} already')

    def pairs(self, stations: Mapping[str, tuple[Station, str | None]]) -> None:
        """Each station stands beside one that there is, and in the end beside a plain one."""
        for station_id, node in self.besides.items():
            beside = stations[station_id][0].beside
            if beside is not None and beside not in stations:
                hint = did_you_mean(beside, stations)
                message = f'station "{station_id}" is beside no station "{beside}"{hint}'
                self.file.fault(node, message)
                continue
            passed = [station_id]
            while beside is not None and beside in stations and beside not in passed:
                passed.append(beside)
                beside = stations[beside][0].beside
            if beside == station_id:
                ring = " beside ".join(f'"{each}"' for each in (*passed, station_id))
                self.file.fault(node, f"stations stand in a ring: {ring}")

    def reached(
        self,
        stations: Mapping[str, tuple[Station, str | None]],
        inline: Mapping[str, tuple[Station, str | None]],
        links: Sequence[Link],
    ) -> None:
        """Each station is on a link; where links are at fault themselves it is not asked."""
        if not links or self.file.faults:
            return
        ends = {station for link in links for station, _ in (link.start, link.end)}
        held = {name for link in links for name in link.holds}
        for station_id in stations.keys() - ends:
            message = f'no link leads to or from station "{station_id}"'
            self.file.fault(self.keys[station_id], message)
        for station_id in inline.keys() - held:
            self.file.fault(self.keys[station_id], f'no link holds "{station_id}"')

    def beside(self, station_id: str, node: yaml.Node | None) -> str | None:
        if node is not None:
            self.besides[station_id] = node
        return self.file.text(node, "beside")

    def ports(
        self, node: yaml.Node | None, kinds: Sequence[Kind]
    ) -> Mapping[str, tuple[Selector, ...]]:
        found = {}
        for key, value in self.file.entries(node, "ports") if node is not None else []:
            several = isinstance(value, yaml.SequenceNode)
            nodes = self.file.sequence(value, "the selectors of a port") if several else [value]
            found[key.value] = tuple(self.selector(each, kinds) for each in nodes)
        return found

    def selector(self, node: yaml.Node, kinds: Sequence[Kind]) -> Selector:
        entries = self.file.mapping(node, "a selector", _SELECTOR)
        return Selector(
            roles=cast("tuple[Role, ...]", self.words(entries.get("roles"), "roles", words(Role))),
            systems=self.systems(entries.get("systems"), "systems"),
            except_systems=self.systems(entries.get("except_systems"), "except_systems"),
            submerged=self.flag(entries.get("submerged"), "submerged"),
            where=self.where(entries.get("where"), kinds),
        )

    def links(
        self,
        node: yaml.Node | None,
        stations: Mapping[str, tuple[Station, str | None]],
        inline: Mapping[str, tuple[Station, str | None]],
    ) -> list[Link]:
        found: dict[str, Link] = {}
        for each in self.file.sequence(node, "links") if node is not None else []:
            link = self.link(each, stations, inline)
            if link is not None and link.id in found:
                self.file.fault(each, f'there is a link "{link.id}" already; give it an "id"')
            elif link is not None:
                found[link.id] = link
        return list(found.values())

    def link(
        self,
        node: yaml.Node,
        stations: Mapping[str, tuple[Station, str | None]],
        inline: Mapping[str, tuple[Station, str | None]],
    ) -> Link | None:
        entries = self.file.mapping(node, "a link", _LINK)
        start = self.port_of(entries.get("from"), "from", stations)
        end = self.port_of(entries.get("to"), "to", stations)
        line = self.choice(entries.get("line"), "line", words(Line))
        holds = self.words(entries.get("holds"), "holds", tuple(inline))
        by = self.choice(entries.get("by"), "by", words(By))
        if start is None or end is None or line is None:
            return None
        in_a_row = stations[start[0]][0].repeat == "series" and start[1] != end[1]
        if start[0] == end[0] and not in_a_row and start[0] not in self.unsure:
            message = f'the link leads from station "{start[0]}" to itself, which is no way'
            self.file.fault(node, f"{message}; only rails in series are linked so")
            return None
        link_id = self.slug(entries.get("id"), "the id") or f"{start[0]}-to-{end[0]}"
        return Link(
            id=link_id,
            start=start,
            end=end,
            line=cast(Line, line),
            inside_tank=self.flag(entries.get("inside_tank"), "inside_tank") or False,
            by=cast(By, by or "hose"),
            mounts=self.flag(entries.get("mounts"), "mounts") or False,
            holds=holds,
            car_when=self.condition(entries.get("car_when")),
        )

    def port_of(
        self,
        node: yaml.Node | None,
        what: str,
        stations: Mapping[str, tuple[Station, str | None]],
    ) -> tuple[str, str] | None:
        text = self.file.text(node, what)
        if text is None or node is None:
            return None
        station_id, dot, port = text.partition(".")
        station = stations.get(station_id)
        if station is None:
            hint = did_you_mean(station_id, stations)
            self.file.fault(node, f'there is no station "{station_id}"{hint}')
            return None
        if port not in station[0].ports:
            known = ", ".join(f"{station_id}.{each}" for each in station[0].ports)
            none = f'no port "{port}"' if dot else "to be named with its port"
            self.file.fault(node, f'station "{station_id}" has {none}: {known}')
            return None
        return station_id, port

    def where(self, node: yaml.Node | None, kinds: Sequence[Kind]) -> tuple[Wanted, ...]:
        found = []
        if not kinds:
            return ()  # what kinds there are is at fault itself
        for key, value in self.file.entries(node, "where") if node is not None else []:
            specs = [_SPECS[kind] for kind in kinds]
            known = set.intersection(*(set(spec) for spec in specs)) if specs else set()
            if key.value not in known:
                hint = did_you_mean(key.value, known)
                self.file.fault(key, f'no specification of these kinds has "{key.value}"{hint}')
                continue
            found.append(self.wanted(key.value, value, specs[0][key.value]))
        return tuple(found)

    def wanted(self, attribute: str, node: yaml.Node, allowed: tuple[object, ...]) -> Wanted:
        if isinstance(node, yaml.MappingNode):
            entries = self.file.mapping(node, attribute, _BOUNDS)
            if allowed:
                self.file.fault(node, f"{attribute} is no number")
            least = self.number(entries.get("least"), "least")
            most = self.number(entries.get("most"), "most")
            if not entries:
                self.file.fault(node, f"{attribute} needs bounds: least, most or both")
            elif least is not None and most is not None and least > most:
                self.file.fault(node, f"no {attribute} is at least {least:g} and at most {most:g}")
            return Wanted(attribute, least=least, most=most)
        try:
            given = plain_value(node)
        except ValueError as error:
            self.file.fault(node, f"{attribute} {error}")
            return Wanted(attribute)
        values = tuple(given) if isinstance(given, list) else (given,)
        for value in values:
            if value not in allowed:
                listed = ", ".join(_written(each) for each in allowed) or "bounds: least, most"
                self.file.fault(node, f"{attribute} takes {listed}, not {_written(value)}")
        return Wanted(attribute, words=values)

    # Leaves

    def kinds(self, node: yaml.Node | None) -> tuple[Kind, ...]:
        return cast("tuple[Kind, ...]", self.words(node, "kind", words(Kind)))

    def systems(self, node: yaml.Node | None, what: str) -> tuple[System, ...]:
        return cast("tuple[System, ...]", self.words(node, what, words(System)))

    def condition(self, node: yaml.Node | None) -> Condition | None:
        return cast("Condition | None", self.choice(node, "condition", words(Condition)))

    def words(self, node: yaml.Node | None, what: str, known: Sequence[str]) -> tuple[str, ...]:
        found = []
        for text, each in self.texts(node, what):
            if text in known:
                found.append(text)
            else:
                hint = did_you_mean(text, known) or f"; one of {', '.join(known)}"
                self.file.fault(each, f'{what} knows no "{text}"{hint}')
        return tuple(found)

    def texts(self, node: yaml.Node | None, what: str) -> list[tuple[str, yaml.ScalarNode]]:
        return [] if node is None else self.file.texts(node, what)

    def choice(self, node: yaml.Node | None, what: str, known: Sequence[str]) -> str | None:
        return None if node is None else self.file.choice(node, what, known)

    def slug(self, node: yaml.Node | None, what: str) -> str | None:
        text = self.file.text(node, what)
        if text is not None and node is not None and not _SLUG.fullmatch(text):
            self.file.fault(node, f"{what} must be lower-case words joined by hyphens")
        return text

    def number(self, node: yaml.Node | None, what: str) -> float | None:
        return self.plain(node, what, "a number", (int, float))

    def flag(self, node: yaml.Node | None, what: str) -> bool | None:
        return self.plain(node, what, "true or false", (bool,))

    def plain(
        self, node: yaml.Node | None, what: str, wanted: str, types: tuple[type[_T], ...]
    ) -> _T | None:
        if node is None:
            return None
        try:
            value = plain_value(node)
        except ValueError:
            value = None
        if type(value) in types:
            return cast(_T, value)
        self.file.fault(node, f"{what} must be {wanted}")
        return None


def _written(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _spec_words() -> Mapping[str, Mapping[str, tuple[object, ...]]]:
    """For each kind the attributes of its specification, with the words each allows.

    A number allows no words: it is bounded.
    """
    found = {}
    for part_class in get_args(get_args(Component)[0]):
        kind = get_args(part_class.model_fields["kind"].annotation)[0]
        spec = part_class.model_fields["spec"].annotation
        found[kind] = {
            name: tuple(_words_of(field.annotation)) for name, field in spec.model_fields.items()
        }
    return found


def _words_of(annotation: Any) -> Iterable[object]:
    if annotation is bool:
        return (True, False)
    arguments = get_args(annotation)
    if not arguments:
        return ()
    if all(isinstance(each, str) for each in arguments):
        return arguments
    return [word for each in arguments for word in _words_of(each)]


_SPECS = _spec_words()
