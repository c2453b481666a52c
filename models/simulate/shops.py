"""The whole invented scenario: shops, fleets, bikes, sensors, tests, repairs, and the truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from models.simulate import tables
from models.simulate.archive import sweeps as recorded_sweeps
from models.simulate.book import Book, TestRecord
from models.simulate.mistakes import plant
from models.simulate.odometers import report_odometer
from models.simulate.readings import sensor_tracks, static_readings
from models.simulate.rides import ride_log
from models.simulate.riding import Bike
from models.simulate.riding import bikes as draw_bikes
from models.simulate.track import TrackState
from models.simulate.visits import live
from models.simulate.world import DEFAULT_BIKES, DEFAULT_SEED


@dataclass(frozen=True)
class History:
    """What happened, before it is written out as tables.

    tests in order of time, readings one row a test in that order, tracks one a sensor.
    """

    bikes: list[Bike]
    book: Book
    tests: list[TestRecord]
    tracks: list[TrackState]
    readings: pd.DataFrame


@dataclass(frozen=True)
class SimulatedShops:
    """What the shops hand in, and what was really so.

    tables : contract table name to frame, in the contract's columns (``sweeps`` only if made).
    truth : ``bikes``, ``spells`` (lives of sensors), ``sessions``, ``mistakes``; with sweeps also
        ``sweeps``, ``dropouts``, ``passes``.
    """

    seed: int
    tables: dict[str, pd.DataFrame]
    truth: dict[str, pd.DataFrame]


def simulate_shops(
    seed: int = DEFAULT_SEED,
    *,
    n_bikes: int = DEFAULT_BIKES,
    sweeps: bool = True,
    mistakes: bool = True,
) -> SimulatedShops:
    """Simulate the shops' records from 2021-01-01 to 2026-10-31.

    Parameters
    ----------
    seed : int
        The only source of chance; the same seed gives the same frames.
    n_bikes : int
        Bikes over the whole history, those that left included.
    sweeps : bool
        Whether sweeps are recorded; the other tables are the same either way.
    mistakes : bool
        Whether a few deliberate mistakes are planted (``truth["mistakes"]`` lists them).

    Raises
    ------
    ValueError
        n_bikes below 1.
    """
    history = play_history(seed, n_bikes)
    book, tests, readings = history.book, history.tests, history.readings
    planning, slipping = (np.random.default_rng([seed, k]) for k in (88, 99))
    frames = {
        "shops": tables.shops(),
        "units": tables.units(history.bikes),
        "odometer": tables.odometer(book, history.bikes),
        "parts": tables.parts(),
        "fitments": tables.fitments(),
        "sensors": tables.sensors(book),
        "test_sessions": tables.test_sessions(tests, readings),
        "repair_outcomes": tables.repair_outcomes(book),
        "stock": tables.stock(planning),
        "calendar": tables.calendar(planning, history.bikes),
        "ride_log": ride_log(planning, history.bikes),
    }
    truth = {
        "bikes": tables.true_bikes(history.bikes),
        "spells": tables.true_spells(book),
        "sessions": tables.true_sessions(tests),
    }
    if sweeps:
        frames["sweeps"], of_sweeps = recorded_sweeps(seed, tests, history.tracks, readings)
        truth |= of_sweeps
    if mistakes:
        frames, truth["mistakes"] = plant(slipping, frames)
    return SimulatedShops(seed=seed, tables=frames, truth=truth)


def play_history(seed: int, n_bikes: int) -> History:
    """Let the years pass: bikes ridden, sensors worn, tests made, repairs closed."""
    riding, visiting, making, reading, reporting = (
        np.random.default_rng([seed, k]) for k in range(5)
    )
    bikes = draw_bikes(riding, n_bikes)
    book = Book()
    for bike in bikes:
        live(visiting, book, bike)
        report_odometer(reporting, book, bike)
    tests = tables.in_time(book.tests)
    tracks = sensor_tracks(making, book.sensors)
    return History(bikes, book, tests, tracks, static_readings(reading, tests, tracks))
