"""Frames that go into and come out of sweep measurement."""

from models.frames import Column, FrameSchema

SAMPLES = FrameSchema(
    "samples",
    "one recorded sample; rows of a session stand together in the order recorded",
    (
        Column("session_id", "text", "the bench test"),
        Column("sample_no", "whole", "place in the sweep as handed in, from 0"),
        Column("t_s", "number", "time from the sweep's start; blank where unreadable", "s", True),
        Column("signal", "number", "reading in the session's channel", "V, ohm or %", True),
        Column("signal_b", "number", "second track, same channel", "V, ohm or %", True),
        Column("travel_pct", "number", "travel by another channel", "% of travel", True),
    ),
)

CONTEXTS = FrameSchema(
    "contexts",
    "one session whose sweep is measured: what the bench test knows besides the samples",
    (
        Column("session_id", "text", "the bench test"),
        Column("sweep_channel", "text", "volt, ohm or percent", blank=True),
        Column("supply_v", "number", "reference supply as read", "V", True),
        Column("output", "text", "rising or falling with opening", blank=True),
        Column("kind", "text", "potentiometer or contactless", blank=True),
        Column("tracks", "whole", "tracks in the housing", blank=True),
        Column("meter_load_ohm", "number", "input resistance of meter or logger", "ohm", True),
        Column("track_ohm", "number", "end pin to end pin", "ohm", True),
    ),
)

MEASURES = FrameSchema(
    "measures",
    "one measured sweep (one session)",
    (
        Column("session_id", "text", "the bench test"),
        Column("conclusion", "text", "dropouts_seen, rough, nothing_seen or cannot_tell"),
        Column("fault_nature", "text", "worn_track, wandering, undecided or none"),
        Column("sample_count", "whole", "samples handed in"),
        Column("usable_count", "whole", "samples with a readable time and signal"),
        Column("duration_s", "number", "first to last usable sample", "s", True),
        Column("rate_hz", "number", "1 / median sampling interval", "Hz", True),
        Column("pass_count", "whole", "stop-to-stop passes found"),
        Column("passes_opening", "whole", "of these, opening"),
        Column("passes_closing", "whole", "of these, closing"),
        Column("covered_from_pct", "number", "lowest travel swept", "% of travel", True),
        Column("covered_to_pct", "number", "highest travel swept", "% of travel", True),
        Column("travel_source", "text", "channel, estimated or none"),
        Column("travel_error_pct", "number", "standard uncertainty of travel", "% of travel", True),
        Column("speed_pct_per_s", "number", "median speed within passes", "% of travel / s", True),
        Column(
            "noise_pct",
            "number",
            "the sensor's and logger's own noise, 1 sigma",
            "% of applied",
            True,
        ),
        Column("dropout_count", "whole", "drop-outs seen"),
        Column("dropout_time_s", "number", "their lengths added up", "s"),
        Column("dropout_deepest_pct", "number", "deepest", "% of applied", True),
        Column(
            "dropout_peak_travel_pct",
            "number",
            "travel where most of them sit",
            "% of travel",
            True,
        ),
        Column(
            "smoothness_pct",
            "number",
            "output smoothness: greatest peak-to-peak departure "
            "from the local line in any 1 % travel window",
            "% of applied",
            True,
        ),
        Column("smoothness_travel_pct", "number", "travel of that window", "% of travel", True),
        Column(
            "smoothness_repeat_pct",
            "number",
            "the same, of the median over the passes in each window: what comes back",
            "% of applied",
            True,
        ),
        Column(
            "contact_variation_ohm",
            "number",
            "contact resistance variation: the change of contact resistance that this smoothness "
            "amounts to, noise included; blank where load or track is not known",
            "ohm",
            True,
        ),
        Column(
            "roughness_pct",
            "number",
            "rms of the grain beyond the recording's own noise, in the roughest 1 to 6 % of travel",
            "% of applied",
            True,
        ),
        Column(
            "roughness_z",
            "number",
            "how far that, with the output's sag there, is beyond chance",
            "sigma",
            True,
        ),
        Column("roughness_travel_pct", "number", "travel of that stretch", "% of travel", True),
        Column(
            "linearity_independent_pct",
            "number",
            "independent (minimax) linearity, ±, between the stops",
            "% of applied",
            True,
        ),
        Column(
            "linearity_terminal_pct",
            "number",
            "terminal-based linearity, ±, between the stops",
            "% of applied",
            True,
        ),
        Column(
            "hysteresis_pct", "number", "median difference between directions", "% of applied", True
        ),
        Column("closed_output", "number", "output at the closed stop", "V, ohm or %", True),
        Column("open_output", "number", "output at the open stop", "V, ohm or %", True),
        Column("track_agreement", "number", "correlation of the two tracks, -1 to 1", "", True),
        Column(
            "shortest_visible_ms",
            "number",
            "shortest drop-out this sweep would have shown",
            "ms",
            True,
        ),
        Column(
            "narrowest_visible_pct",
            "number",
            "narrowest worn patch it would have shown",
            "% of travel",
            True,
        ),
        Column(
            "least_visible_depth_pct",
            "number",
            "shallowest short drop-out this sweep would have shown",
            "% of applied",
            True,
        ),
        Column("advice", "text", "how to sweep again, where this sweep cannot tell", blank=True),
    ),
)

DROPOUTS = FrameSchema(
    "dropouts",
    "one drop-out event of one session",
    (
        Column("session_id", "text", "the bench test"),
        Column("dropout_no", "whole", "in order of time, from 1"),
        Column("start_s", "number", "first sample of the dip", "s"),
        Column("length_s", "number", "its length, at least one sampling interval", "s"),
        Column(
            "depth_pct", "number", "greatest departure from the line without it", "% of applied"
        ),
        Column("travel_pct", "number", "travel at its middle", "% of travel", True),
        Column("travel_error_pct", "number", "standard uncertainty of that", "% of travel", True),
        Column("direction", "text", "opening, closing or still"),
        Column("pass_no", "whole", "the pass it lies in", blank=True),
        Column("first_sample_no", "whole", "first sample"),
        Column("last_sample_no", "whole", "last sample"),
        Column("departure", "text", "fell or rose: which way the reading went"),
        Column("track", "text", "a, b or both at once"),
        Column(
            "contact_ohm",
            "number",
            "contact resistance that explains the depth; blank where load or track is not known",
            "ohm",
            True,
        ),
    ),
)

PROFILE = FrameSchema(
    "profile",
    "one travel bin of one session: what was seen there and what could have been",
    (
        Column("session_id", "text", "the bench test"),
        Column("bin_from_pct", "number", "lower edge", "% of travel"),
        Column("bin_to_pct", "number", "upper edge", "% of travel"),
        Column("sample_count", "whole", "samples within passes"),
        Column("pass_count", "whole", "passes that crossed it"),
        Column(
            "smoothness_pct",
            "number",
            "greatest output smoothness of its windows; blank where too few samples",
            "% of applied",
            True,
        ),
        Column("dropout_count", "whole", "drop-outs whose middle lies here"),
        Column(
            "shortest_visible_ms",
            "number",
            "shortest drop-out that would have shown here",
            "ms",
            True,
        ),
    ),
)

PASSES = FrameSchema(
    "passes",
    "one stop-to-stop (or partial) pass of one session",
    (
        Column("session_id", "text", "the bench test"),
        Column("pass_no", "whole", "in order of time, from 1"),
        Column("direction", "text", "opening or closing"),
        Column("start_s", "number", "start", "s"),
        Column("end_s", "number", "end", "s"),
        Column("from_pct", "number", "travel at the start", "% of travel", True),
        Column("to_pct", "number", "travel at the end", "% of travel", True),
        Column("speed_pct_per_s", "number", "median speed", "% of travel / s", True),
    ),
)

FINDINGS = FrameSchema(
    "findings",
    "one thing said about one session's sweep",
    (
        Column("session_id", "text", "the bench test"),
        Column("finding", "text", "short name of the finding, e.g. time_backwards"),
        Column("text", "text", "the sentence shown to people, numbers and units in it"),
        Column("first_sample_no", "whole", "where it begins, if anywhere", blank=True),
        Column("count", "whole", "how many samples it concerns", blank=True),
    ),
)
