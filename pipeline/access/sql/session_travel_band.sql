-- grain: one cell of the travel: what good sensors of the session's part number show there
select
    bands.bin_from_pct, bands.bin_to_pct, bands.typical_pct, bands.high_pct, bands.sensor_count,
    bands.more_needed, bands.method, bands.part_no
from marts.tests as tests
join marts.travel_bands as bands using (part_no)
where tests.session_id = $session_id and tests.sweep_channel = 'volt'
order by bands.bin_from_pct
