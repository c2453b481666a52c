-- grain: one part number, as it stands
select
    row_id,
    cells['part_no'] as part_no,
    cells['description'] as description,
    cells['kind'] as kind,
    cells['tracks']::bigint as tracks,
    cells['supply_nominal_v']::double as supply_nominal_v,
    cells['output'] as output,
    cells['maker_closed_v_low']::double as maker_closed_v_low,
    cells['maker_closed_v_high']::double as maker_closed_v_high,
    cells['maker_open_v_low']::double as maker_open_v_low,
    cells['maker_open_v_high']::double as maker_open_v_high,
    cells['unit_price']::double as unit_price,
    cells['pack_size']::bigint as pack_size,
    cells['lead_time_days']::bigint as lead_time_days,
    cells['replaced_by'] as replaced_by,
    cells['supply_ends_on']::date as supply_ends_on
from to_stage
where table_name = 'parts'
