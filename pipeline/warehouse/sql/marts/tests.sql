-- grain: one accepted bench test, with its sensor, its bike and what its sweep showed
create table marts.tests as
select
    tests.*, lives.unit_id, lives.mount, lives.part_no, lives.kind, lives.tracks, lives.output,
    tests.odometer_km - lives.zero_km as sensor_age_km,
    measures.conclusion, measures.fault_nature, measures.dropout_count,
    measures.dropout_peak_travel_pct, measures.smoothness_pct, measures.advice as sweep_advice,
    bands.band_chance,
    -- a verdict of pass does not stand against drop-outs in the sweep, save such as wander with a lead
    case
        when tests.verdict = 'fail' then 'with'
        when tests.verdict = 'pass' and not coalesce(
            measures.conclusion = 'dropouts_seen' and measures.fault_nature <> 'wandering', false
        ) then 'without'
        else 'unclear'
    end as defect_found
from staging.test_sessions as tests
join marts.sensor_lives as lives using (sensor_id)
left join marts.sweep_measures as measures using (session_id)
left join marts.sweep_bands as bands using (session_id)
