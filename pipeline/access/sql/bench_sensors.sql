-- grain: one sensor on the bike now, with what its part number says of its readings
select
    lives.sensor_id, lives.unit_id, lives.mount, lives.part_no, lives.part_description, lives.kind,
    lives.tracks, lives.output, parts.supply_nominal_v, parts.maker_closed_v_low,
    parts.maker_closed_v_high, parts.maker_open_v_low, parts.maker_open_v_high
from marts.sensor_lives as lives
join staging.parts using (part_no)
where lives.unit_id = $unit_id and lives.in_service
order by lives.mount, lives.sensor_id
