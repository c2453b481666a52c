-- grain: one standing sweep, what its bench test says of it, and the key its measures are kept under
create table marts.sweep_contexts as
with known as (
    select
        sweeps.session_id, kept.samples_name, sweeps.sample_count, sweeps.samples_hash,
        tests.sweep_channel, tests.supply_v, parts.output, parts.kind, parts.tracks,
        tests.meter_load_ohm, tests.track_ohm
    from staging.sweeps as sweeps
    join marts.sweep_parts as kept using (session_id)
    join staging.test_sessions as tests using (session_id)
    join staging.sensors as sensors using (sensor_id)
    join staging.parts as parts using (part_no)
)

select
    known.*,
    md5(concat_ws(
        '|', session_id, samples_hash, coalesce(sweep_channel, ''), coalesce(supply_v::varchar, ''),
        coalesce(output, ''), coalesce(kind, ''), coalesce(tracks::varchar, ''),
        coalesce(meter_load_ohm::varchar, ''), coalesce(track_ohm::varchar, ''), $version
    )) as measure_key
from known
