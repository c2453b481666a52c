"""A throttle position sensor as the bench meets it: track, wiper, worn bands, lead faults.

Constants are assumed, reasoned from how conductive-plastic potentiometers behave: a few kilohm
end to end, the used travel inside 10 to 90 % of supply, conformity within about a per cent,
contact resistance of tens of ohm while sound, rising to kilohms and lift-off where the wiper has
worn the track.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

GRAIN_STEP_PCT = 0.05  # resolution of the contact-resistance pattern along the travel
GRAIN_CAP = 2.5  # grain peaks are cut at this multiple of their scale: rough is not lifted off
SPOT_SPREAD_PCT = 0.15  # how closely a lift-off repeats at its place, 1 sigma
LIFT_S = (0.001, 0.030)  # length of a lift-off at slow hand speed, log-uniform
LIFT_OHM = (8_000.0, 20_000_000.0)  # contact resistance while lifted, log-uniform


@dataclass(frozen=True)
class WornBand:
    """A stretch of worn track.

    centre_pct, width_pct : where on the travel, and full width.
    rough_ohm : scale of the extra contact-resistance grain in the band (0: not rough).
    spots_pct : travel positions where the wiper lifts off.
    lift_chance : chance that it does so on one crossing of a spot.
    lift_s, lift_ohm : range of the lift-off's length and resistance, both log-uniform.
    """

    centre_pct: float
    width_pct: float = 3.0
    rough_ohm: float = 0.0
    spots_pct: tuple[float, ...] = ()
    lift_chance: float = 0.8
    lift_s: tuple[float, float] = LIFT_S
    lift_ohm: tuple[float, float] = LIFT_OHM


@dataclass(frozen=True)
class LeadFault:
    """A fault in plug or lead, not on the track.

    kind : ``wander`` (at any time), or ``tug`` (while the lead is pulled near one position).
    rate_per_s : bursts a second (wander). chance_per_pass : bursts a pass (tug).
    tug_pct, tug_spread_pct : where it is pulled, and how closely that repeats, 1 sigma.
    tug_direction : ``opening``, ``closing`` or ``both``.
    wire : ``signal`` and ``supply`` (reading falls to ground), ``ground`` (rises to supply).
    burst : mean number of drop-outs in a burst; gap_s their mean distance.
    """

    kind: str = "wander"
    rate_per_s: float = 0.3
    chance_per_pass: float = 0.8
    tug_pct: float = 50.0
    tug_spread_pct: float = 2.5
    tug_direction: str = "opening"
    wire: str = "signal"
    burst: float = 2.0
    gap_s: float = 0.06
    length_s: tuple[float, float] = LIFT_S
    open_ohm: tuple[float, float] = (20_000.0, 20_000_000.0)


@dataclass(frozen=True)
class TrackState:
    """One sensor's electrical state on the day of the sweep.

    closed_fraction, open_fraction : fraction of supply at the stops; open below closed is a
        falling output.
    bow, conformity : departure from the straight line as fractions of supply: a sine half-wave,
        and (amplitude, cycles, phase) of smaller waves.
    hysteresis_pct : lag between opening and closing, per cent of travel.
    contact_ohm, grain_ohm : sound contact resistance, and the scale of its grain along the travel.
    grain_seed : fixes the grain, so that it repeats from pass to pass and test to test.
    worn, lead : the faults; second : a second track in the same housing.
    """

    track_ohm: float = 5000.0
    closed_fraction: float = 0.12
    open_fraction: float = 0.88
    bow: float = 0.003
    conformity: tuple[tuple[float, float, float], ...] = ((0.0008, 2.0, 0.4), (0.0004, 5.0, 1.1))
    hysteresis_pct: float = 0.15
    contact_ohm: float = 60.0
    grain_ohm: float = 8.0
    grain_seed: int = 1
    worn: tuple[WornBand, ...] = ()
    lead: LeadFault | None = None
    second: TrackState | None = field(default=None)

    @property
    def output(self) -> str:
        """``rising`` or ``falling`` with opening."""
        return "rising" if self.open_fraction > self.closed_fraction else "falling"

    @property
    def rough(self) -> bool:
        """Whether any band is rough (with or without lift-offs)."""
        return any(band.rough_ohm > 0.0 for band in self.worn)


def wiper_fraction(
    track: TrackState, travel_pct: np.ndarray, speed_pct_s: np.ndarray | float = 0.0
) -> np.ndarray:
    """Fraction of the track below the wiper, shape (n,): line, bow, conformity and lag."""
    lag_pct = 0.5 * track.hysteresis_pct * np.tanh(np.asarray(speed_pct_s) / 3.0)
    u = np.clip((travel_pct - lag_pct) / 100.0, 0.0, 1.0)
    x = track.closed_fraction + (track.open_fraction - track.closed_fraction) * u
    x = x + track.bow * np.sin(np.pi * u)
    for amplitude, cycles, phase in track.conformity:
        x = x + amplitude * np.sin(2.0 * np.pi * cycles * u + phase)
    return np.clip(x, 0.0, 1.0)


def contact_ohm(
    rng: np.random.Generator, track: TrackState, travel_pct: np.ndarray, pass_no: np.ndarray
) -> np.ndarray:
    """Contact resistance without lift-offs, ohm, shape (n,).

    Two thirds of the grain repeat at the same place on every pass (the track's own), one third is
    fresh on each pass (debris under the wiper).
    """
    scale = np.full(len(travel_pct), track.grain_ohm)
    for band in track.worn:
        if band.rough_ohm > 0.0:
            away = (travel_pct - band.centre_pct) / (0.5 * band.width_pct)
            scale = scale + band.rough_ohm * np.exp(-np.minimum(away**4, 50.0))
    cell = np.minimum((travel_pct / GRAIN_STEP_PCT).astype(int), _CELLS - 1)
    own = _grain(np.random.default_rng(track.grain_seed), 1)[0]
    fresh = _grain(rng, int(pass_no.max(initial=0)) + 1)
    return track.contact_ohm + scale * (own[cell] * 2.0 + fresh[np.maximum(pass_no, 0), cell]) / 3.0


_CELLS = int(100 / GRAIN_STEP_PCT)


def _grain(rng: np.random.Generator, rows: int) -> np.ndarray:
    return np.minimum(rng.standard_exponential((rows, _CELLS)), GRAIN_CAP)


def random_track(rng: np.random.Generator, *, output: str | None = None) -> TrackState:
    """A sound sensor drawn from the assumed variety of makes; falling in one case in three."""
    falling = output == "falling" if output else bool(rng.random() < 1.0 / 3.0)
    low, high = rng.uniform(0.09, 0.16), rng.uniform(0.80, 0.90)
    conformity = tuple(
        (float(rng.uniform(0.0, 0.0012)), float(cycles), float(rng.uniform(0.0, 2.0 * np.pi)))
        for cycles in (1.5, 3.0, 6.0)
    )
    return TrackState(
        track_ohm=float(rng.uniform(3500.0, 6500.0)),
        closed_fraction=float(high if falling else low),
        open_fraction=float(low if falling else high),
        bow=float(rng.uniform(-0.006, 0.006)),
        conformity=conformity,
        hysteresis_pct=float(rng.uniform(0.05, 0.30)),
        contact_ohm=float(rng.uniform(30.0, 120.0)),
        grain_ohm=float(rng.uniform(4.0, 14.0)),
        grain_seed=int(rng.integers(1, 2**31)),
    )


def random_worn_band(
    rng: np.random.Generator,
    *,
    centre_pct: float | None = None,
    lifts: bool = True,
    rough: bool = True,
) -> WornBand:
    """A worn band of assumed variety: 1 to 6 % wide, one to four lift-off spots if it lifts."""
    centre = float(rng.uniform(4.0, 96.0)) if centre_pct is None else float(centre_pct)
    width = float(rng.uniform(1.0, 6.0))
    count = int(rng.integers(1, 5)) if lifts else 0
    spots = np.clip(centre + width * rng.uniform(-0.45, 0.45, count), 0.2, 99.8)
    return WornBand(
        centre_pct=centre,
        width_pct=width,
        rough_ohm=float(np.exp(rng.uniform(np.log(120.0), np.log(300.0)))) if rough else 0.0,
        spots_pct=tuple(float(s) for s in np.sort(spots)),
        lift_chance=float(rng.uniform(0.45, 0.95)),
    )


def random_lead_fault(rng: np.random.Generator, *, kind: str | None = None) -> LeadFault:
    """A lead fault of assumed variety: wandering or tugged, mostly on the signal wire."""
    return LeadFault(
        kind=kind or ("tug" if rng.random() < 0.4 else "wander"),
        rate_per_s=float(rng.uniform(0.15, 0.8)),
        chance_per_pass=float(rng.uniform(0.5, 1.0)),
        tug_pct=float(rng.uniform(10.0, 90.0)),
        tug_spread_pct=float(rng.uniform(1.5, 5.0)),
        tug_direction=str(rng.choice(["opening", "closing", "both"], p=[0.5, 0.3, 0.2])),
        wire=str(rng.choice(["signal", "supply", "ground"], p=[0.7, 0.2, 0.1])),
        burst=float(rng.uniform(1.0, 3.0)),
    )
