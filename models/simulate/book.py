"""The shop's book while the history unfolds: sensors fitted, tests made, repairs closed.

Kept as plain records, since thousands of bikes are simulated at a time; ``tables`` turns them
into the contract's frames.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from models.simulate.riding import Bike
from models.simulate.wear import Spell


@dataclass
class SensorRecord:
    """A sensor's life on a bike as the shop writes it down, and its hidden spells."""

    number: int
    bike: Bike
    mount: str
    part_no: str
    origin: str
    fitted_day: int | None
    fitted_km: int | None
    first_seen_day: int
    first_seen_km: int
    true_fitted_km: float
    spells: list[Spell] = field(default_factory=list)
    removed_day: int | None = None
    removed_km: int | None = None
    removed_reason: str | None = None

    @property
    def spell(self) -> Spell:
        """The life under way."""
        return self.spells[-1]


@dataclass
class TestRecord:
    """A bench test: what the shop writes down, and what was really there."""

    __test__ = False  # not a test case, whatever its name begins with

    number: int
    sensor: SensorRecord
    spell: Spell
    shop_id: str
    day: int
    hour: float
    odometer_km: int
    reason: str
    symptom: str | None
    technician: str
    channel: str
    rate_hz: float | None
    verdict: str | None
    lead: str | None
    lead_found: bool
    road_failure: bool

    @property
    def defective(self) -> bool:
        """Whether the sensor had its defect on the day."""
        return self.spell.defective(self.odometer_km)


@dataclass
class OutcomeRecord:
    """A closed repair."""

    number: int
    sensor: SensorRecord
    test: TestRecord | None
    day: int
    odometer_km: int
    action: str
    fault_confirmed: str | None
    confirmed_by: str | None
    on_road: str | None
    failed_day: int | None
    failed_km: int | None
    parts_cost: float | None
    labour_hours: float
    days_off_road: int
    comeback_of: OutcomeRecord | None = None
    relearn_done: str | None = None


@dataclass
class Book:
    """Everything the shops wrote down."""

    sensors: list[SensorRecord] = field(default_factory=list)
    tests: list[TestRecord] = field(default_factory=list)
    outcomes: list[OutcomeRecord] = field(default_factory=list)
    readings: dict[tuple[int, int], int] = field(default_factory=dict)

    def read_odometer(self, bike: Bike, day: int) -> int:
        """Note the odometer of a day and return it."""
        odometer_km = bike.km_on(day)
        self.readings[(bike.number, day)] = odometer_km
        return odometer_km
