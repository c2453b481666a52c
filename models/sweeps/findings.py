"""Sentences about one session's sweep: what is odd in it and what that means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.sweeps.samples import MIN_SAMPLES, Mark, Reading

_MARKS = {
    "time_unreadable": "{n} samples have no readable time and are left out.",
    "signal_blank": "{n} samples have no readable signal and are left out.",
    "signal_infinite": "{n} samples read infinite and are left out.",
    "time_backwards": "{n} samples have a time before that of the sample in front of them; the "
    "sweep is measured in the order of time.",
    "time_restarts": "The time starts again within the sweep, so {n} samples cannot be placed; "
    "only the longest stretch in one piece is measured. Please hand in one recording at a time.",
    "time_repeated": "{n} samples repeat the time of another; the first of each stands.",
}
LEAST_GAP_S = 0.05  # shorter ones are no gap
RAIL_PCT = 99.0  # readings farther out may stand at a rail, % of applied
COARSE_STEP_PCT = 0.25  # steps from here on hide noise and rails: 8 bits of 5 V have 0.39 %
CONTACTLESS = (
    "This part has no wiper and no track: nothing here speaks of wear on the travel, and its "
    "resistance is not judged."
)
STOP_TO_STOP = (
    "Figures are over the travel between the stops, which is not the track's whole electrical "
    "travel."
)


@dataclass(frozen=True)
class Finding:
    """One thing said about a sweep, with where it begins and how many samples it concerns."""

    finding: str
    text: str
    first_sample_no: int | None = None
    count: int | None = None


def of_marks(marks: tuple[Mark, ...]) -> list[Finding]:
    """Findings on samples that could not be used as they came."""
    return [
        Finding(m.name, _MARKS[m.name].format(n=m.count), m.first_sample_no, m.count) for m in marks
    ]


def too_few(reading: Reading | None) -> list[Finding]:
    """Findings on a sweep with nothing to measure."""
    if reading is None or reading.sample_count == 0:
        return [Finding("no_samples", "There is no sweep for this test.")]
    text = (
        f"Only {reading.usable_count} of {reading.sample_count} samples can be used; at least "
        f"{MIN_SAMPLES} are needed to say anything."
    )
    return [*of_marks(reading.marks), Finding("too_few_samples", text)]


def may_be_odd(
    widest_s: np.ndarray,
    lowest: np.ndarray,
    highest: np.ndarray,
    strokes: np.ndarray,
    said_before: np.ndarray,
) -> np.ndarray:
    """Whether ``of_sampling`` or ``of_output`` may have anything to say, shape (k,).

    It only spares the asking for the many sweeps that are plainly not odd.
    """
    rails = (highest > RAIL_PCT) | (lowest < 100.0 - RAIL_PCT)
    return said_before | rails | (widest_s > LEAST_GAP_S) | (strokes == 0) | (highest - lowest < 1)


def of_sampling(step_s: float, widest_s: float, n: int) -> list[Finding]:
    """Findings on gaps in the recording."""
    if n > 2 and widest_s > max(5.0 * step_s, LEAST_GAP_S):
        text = (
            f"The recording has a gap of {widest_s:.2f} s where samples come every "
            f"{1000 * step_s:.3g} ms: nothing is known about that stretch."
        )
        return [Finding("gap", text)]
    return []


def of_output(
    lowest: float,
    highest: float,
    channel: str | None,
    swapped: bool,
    strokes: int,
    rail_pct: float,
) -> list[Finding]:
    """Findings on the output as a whole; lowest, highest and rail in % of applied."""
    out = []
    if highest - lowest < 1e-6:
        text = "The reading never changes: sensor, lead or channel is not connected, or stuck."
        out.append(Finding("constant_signal", text))
    elif strokes == 0:
        text = "No movement of the throttle is found in this sweep."
        out.append(Finding("no_passes", text))
    if swapped:
        text = (
            "The reading goes the other way than this part's data say as the throttle opens. "
            "Please check whether supply and ground leads were swapped, or whether the sweep "
            "began at the open stop."
        )
        out.append(Finding("output_direction", text))
    if np.isfinite(rail_pct):
        text = (
            f"The reading stays at {rail_pct:.1f} % of the supply without any noise: the "
            "recording is clipped, and where on the travel the rest lies cannot be told."
        )
        out.append(Finding("clipped", text))
    elif channel == "volt" and highest - lowest >= 1e-6 and (highest > 99.3 or lowest < 0.3):
        text = (
            f"Steady readings reach {highest if highest > 99.3 else lowest:.1f} % of the supply: "
            "the recording may be clipped at its rail, or a lead is open or shorted."
        )
        out.append(Finding("at_rail", text))
    return out


def of_converter(step_pct: float, channel: str | None) -> list[Finding]:
    """Findings on a converter too coarse to show noise; its step in % of applied."""
    if channel != "volt" or not COARSE_STEP_PCT <= step_pct < np.inf:
        return []
    text = (
        f"The readings come in steps of {step_pct:.2f} % of the supply: what is finer does not "
        "show, and a recording cut off below the open stop would look like this one. Please make "
        "sure that the logger's range reaches the supply voltage."
    )
    return [Finding("coarse_steps", text)]


def of_kind(kind: str | None, channel: str | None) -> list[Finding]:
    """Findings that follow from the kind of part and channel."""
    out = []
    if kind == "contactless":
        out.append(Finding("contactless_part", CONTACTLESS))
    if channel == "percent":
        text = (
            "The control unit's percentage is filtered and polled: short drop-outs do not show "
            "in it, so it can never clear a sensor."
        )
        out.append(Finding("polled_percentage", text))
    return out


def of_stops(count: int) -> list[Finding]:
    """Findings on drop-outs between a stop's first and last touch."""
    if not count:
        return []
    text = (
        f"{count} drop-outs lie at a stop while the throttle touched it: one that bounces or "
        "settles there shows the same, so they say nothing about the track."
    )
    return [Finding("dropouts_at_stop", text, None, count)]


def of_tracks(agreement: float, both: int, only_b: int) -> list[Finding]:
    """Findings from comparing the two tracks."""
    out = []
    if np.isfinite(agreement) and abs(agreement) < 0.99:
        text = f"The two tracks do not follow one another (correlation {agreement:.3f})."
        out.append(Finding("tracks_disagree", text))
    if both:
        text = (
            f"{both} drop-outs show on both tracks at the same moment: look at what they share, "
            "supply, ground and connector, before the tracks."
        )
        out.append(Finding("both_tracks_at_once", text, None, both))
    if only_b:
        text = f"{only_b} drop-outs show on the second track alone."
        out.append(Finding("second_track_dropouts", text, None, only_b))
    return out
