"""The plant description as validated types; the fields' checks are in `checks`, reading is in `read`."""

from __future__ import annotations

from datetime import time
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict, Field

from lineview.plant import checks
from lineview.plant.checks import Day
from lineview.plant.fields import ExportKind

MachineKind = Literal["sizer", "cut-and-wrap machine"]
#: What a counter counts. Feed counters are named for their web.
Counts = Literal["pieces", "good pieces", "rejects", "blank wraps", "film", "wax paper", "rope"]
#: What a gauge measures.
Measures = Literal["rope diameter", "rope temperature", "roller speed", "state", "batch", "product"]
#: What a state can mean to the shift. "blocked": the next machine cannot take product; "starved": the one
#: before cannot send any; "outside": stopped by a cause outside the machine, not known which.
StateMeaning = Literal[
    "running", "stop", "changeover", "blocked", "starved", "outside", "idle", "maintenance", "cleaning", "break"
]
#: What a counter's readings say: all that it ever counted, what came since the row before or since the shift
#: began (it restarts), or what is left of a preset.
Counting = Literal["total", "since last row", "since shift start", "down"]
WebKind = Literal["film", "wax paper"]
Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9_.\- ]*$", max_length=60)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
LanguageCode = Annotated[str, checks.value_check(checks.check_language)]
Zone = Annotated[str, checks.value_check(checks.check_zone)]
LineId = Annotated[Id, checks.value_check(checks.check_line)]
MachineId = Annotated[Id, checks.value_check(checks.check_machine)]
WebId = Annotated[Id, checks.value_check(checks.check_web)]


class Part(BaseModel):
    """Base of every part: unknown keys are faults, values are fixed once read."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class NamedPart(Part):
    """A part with an id for files and a name for people."""

    id: Id
    name: str = ""

    @property
    def label(self) -> str:
        """The name a person reads."""
        return self.name or self.id


class Break(Part):
    """A planned break within a shift, in the plant's wall time."""

    start: time
    end: time


class Shift(Part):
    """A shift: over midnight where `end` is not after `start`. `days` are those it starts on."""

    id: Id
    start: time
    end: time
    days: tuple[Day, ...] = ("mon", "tue", "wed", "thu", "fri")
    breaks: Annotated[tuple[Break, ...], checks.together(checks.check_breaks)] = ()


class Counter(Part):
    """A counter: what it counts, where it rolls over and how fast it can possibly go.

    `unit_value` is what one count stands for: pieces for piece counters, metres [m] for feed and rope
    counters. `modulus` is the number of values before it starts again at 0; "unknown" where nobody knows.
    `moves_by` is by how many counts its readings move: 100 where a display shows hundreds only.
    `counting` is what its readings say; a layout that names it says it for the counters of its columns.
    """

    id: Id
    counts: Counts
    modulus: Annotated[int, Field(gt=1)] | Literal["unknown"] = "unknown"
    fastest_per_min: Positive
    unit_value: Positive = 1.0
    moves_by: Annotated[int, Field(ge=1)] = 1
    counting: Counting = "total"

    @property
    def step(self) -> float:
        """How much a reading may hide [pieces or m]; 0 for a counter of single pieces."""
        step = self.unit_value * self.moves_by
        return 0.0 if step == 1.0 else step


class Gauge(Part):
    """A gauge: what it measures, in which unit, at which place, and the roller pair it belongs to.

    `codes` says what the codes or names of a state channel mean, one of StateMeaning each. The names of
    ANSI/ISA-TR88.00.02 need no entry; a bare number always does.
    """

    id: Id
    measures: Measures
    unit: Literal["mm", "in", "°C", "°F", "mm/s", "m/min", "rpm", ""] = ""
    pair: int | None = None
    position_mm: NotNegative | None = None
    roller_diameter_mm: Positive | None = None
    codes: Annotated[dict[str, StateMeaning], checks.together(checks.check_codes)] = {}


class Machine(NamedPart):
    """A machine with its counters and gauges; the nominal band and set speed are pieces a minute."""

    kind: MachineKind
    line: LineId
    nominal_per_min: Annotated[tuple[Positive, Positive], checks.value_check(checks.check_band)] = (300.0, 400.0)
    set_per_min: Positive | None = None
    design_per_min: Positive | None = None
    counters: Annotated[
        tuple[Counter, ...], checks.together(checks.check_counters, "counts", "fastest_per_min", "unit_value")
    ] = ()
    gauges: tuple[Gauge, ...] = ()

    def counter(self, counts: Counts) -> Counter | None:
        """The first counter that counts this, or None."""
        return next((c for c in self.counters if c.counts == counts), None)

    def gauge(self, measures: Measures) -> Gauge | None:
        """The first gauge that measures this, or None."""
        return next((g for g in self.gauges if g.measures == measures), None)


class Line(NamedPart):
    """A line of the works: a sizer and a cut-and-wrap machine work together on it."""


class PriceStep(Part):
    """A price a reel from a number of reels on, for all reels of the order."""

    from_reels: Annotated[int, Field(ge=1)]
    price_per_reel: Positive


class Web(NamedPart):
    """One material fed from a reel, with its allowances and its supply.

    Either `grammage_g_m2` or both `thickness_um` and `density_g_cm3` give its mass. `reel_length_m` is what
    the label says; without it the length follows from the diameters and the thickness. A delivery may come
    `under_delivery_percent` short or `over_delivery_percent` long; `freight_per_order` and
    `holding_percent_per_year` (of the price, for money and room) make the order quantity an economic one.
    """

    kind: WebKind
    cut_length_mm: Positive
    width_mm: Positive
    grammage_g_m2: Positive | None = None
    thickness_um: Positive | None = None
    density_g_cm3: Annotated[
        Positive | None, checks.value_check(checks.check_web_mass), Field(validate_default=True)
    ] = None
    reel_outer_mm: Positive
    reel_core_mm: Annotated[Positive, checks.value_check(checks.check_core)]
    reel_length_m: Positive | None = None
    splice_m: NotNegative = 0.0
    start_m: NotNegative = 0.0
    end_m: NotNegative = 0.0
    running_waste_percent: NotNegative = 0.0
    price_per_reel: NotNegative | None = None
    supplier: str = ""
    lead_time_days: NotNegative | None = None
    lead_time_sd_days: NotNegative = 0.0
    minimum_reels: Annotated[int, Field(ge=1)] = 1
    multiple_reels: Annotated[int, Field(ge=1)] = 1
    under_delivery_percent: Annotated[float, Field(ge=0, lt=100)] = 0.0
    over_delivery_percent: Annotated[float, Field(ge=0, lt=100)] = 0.0
    shelf_life_days: Positive | None = None
    reels_per_pallet: Annotated[int, Field(ge=1)] | None = None
    freight_per_order: Positive | None = None
    holding_percent_per_year: Positive | None = None
    price_breaks: tuple[PriceStep, ...] = ()
    food_contact_declared_on: str = ""


class Product(Part):
    """A product: a flavour on a base, its piece, its rope and the webs that wrap it.

    `price_per_kg` is what a kilogram of it costs to make, for the money that is given away. `bag_g` are the
    net masses on the labels of the bags it is packed in [g].
    """

    id: Id
    flavour: str
    base: str = ""
    mass_g: Positive
    mass_tolerance_g: Positive
    diameter_mm: Positive
    diameter_tolerance_mm: Positive
    cut_length_mm: Positive
    density_g_cm3: Positive | None = None
    price_per_kg: NotNegative | None = None
    bag_g: tuple[Positive, ...] = ()
    allergens: tuple[str, ...] = ()
    webs: tuple[WebId, ...] = ()
    also_called: tuple[str, ...] = ()


class ColumnTarget(Part):
    """What a header means: a counter, gauge or field, and the unit its cells are in.

    `to` is the id of a counter or gauge of the layout's machine, `machine/channel` where one file holds
    several, or a field of the export's kind ("batch", "product", "start", "mass_in_kg", ...). Columns that
    `adds` marks are lanes of one counter, and are added row by row. `counting` is what a counter's cells say
    where it is not the total.
    """

    to: str
    unit: str = ""
    adds: bool = False
    counting: Counting | None = None


class Layout(Part):
    """How one kind of export file is laid out.

    `stamps` says whether a row's time is the end or the start of what it counts; `on_change` that rows are
    written only when a value changes; `any_times` that times far from the others or from today, or that run back,
    are meant. `encoding` is that of the text where it is not UTF-8, UTF-16 or Windows-1252.
    """

    id: Id
    kind: ExportKind = "readings"
    files: str = "*"
    sheet: str = ""
    machine: MachineId | None = None
    machine_column: str = ""
    line: LineId | None = None
    shape: Literal["wide", "long"] = "wide"
    time: str | tuple[str, ...] = "time"
    time_format: str = "iso"
    zone: Zone = ""
    clock_offset_s: float = 0.0
    stamps: Literal["end", "start"] = "end"
    on_change: bool = False
    any_times: bool = False
    encoding: Annotated[str, checks.value_check(checks.check_encoding)] = ""
    decimal: Literal[".", ",", ""] = ""
    thousands: str = ""
    name_column: str = ""
    value_column: str = ""
    quality_column: str = ""
    gross: bool = False
    columns: Annotated[dict[str, ColumnTarget], checks.together(checks.check_columns)] = {}


class Plant(Part):
    """The works: shop, lines, machines, products, webs, shifts and the layouts of their exports.

    `batch_scale_error_kg` is how far off the scale that weighs batches in may be, either way [kg].
    `worth_per_kg_sold` is what a kilogram sold is worth beyond its candy and wrap, for what lost time costs.
    `run_rules` are the numbers of Nelson's tests to apply to the rope's residuals; none by default.
    """

    shop: str
    language: LanguageCode = "en"
    zone: Zone = "UTC"
    units: Literal["metric", "US"] = "metric"
    currency: str = "EUR"
    short_stop_min: Positive = 5.0
    gap_s: Positive = 120.0
    batch_kg: Positive = 22.7
    batch_scale_error_kg: NotNegative | None = None
    worth_per_kg_sold: NotNegative | None = None
    run_rules: tuple[Annotated[int, Field(ge=1, le=8)], ...] = ()
    shifts: Annotated[tuple[Shift, ...], checks.together(checks.check_shifts, "start", "end", "days")] = ()
    lines: tuple[Line, ...] = ()
    machines: tuple[Machine, ...] = ()
    webs: tuple[Web, ...] = ()
    products: tuple[Product, ...] = ()
    layouts: tuple[Layout, ...] = ()

    @property
    def tz(self) -> ZoneInfo:
        """The plant's time zone."""
        return ZoneInfo(self.zone)

    def machine(self, machine_id: str) -> Machine | None:
        """The machine of this id, or None."""
        return next((m for m in self.machines if m.id == machine_id), None)

    def machines_of(self, line: str, kind: MachineKind) -> tuple[Machine, ...]:
        """The line's machines of one kind."""
        return tuple(m for m in self.machines if m.line == line and m.kind == kind)

    def product(self, name: str) -> Product | None:
        """The product whose id, flavour or other name this is, case aside, or None."""
        key = name.strip().casefold()
        for product in self.products:
            if key in {n.casefold() for n in (product.id, product.flavour, *product.also_called)}:
                return product
        return None

    def web(self, web_id: str) -> Web | None:
        """The web of this id, or None."""
        return next((w for w in self.webs if w.id == web_id), None)
