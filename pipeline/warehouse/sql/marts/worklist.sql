-- grain: one sensor in service: what to do, why, and the numbers behind it
-- In no order: whoever shows it sorts what is shown, and all of it with its words would fill the memory.
-- Of some sensors at a time, for the same reason.
select
    sensors.sensor_id, sensors.unit_id, bikes.label, bikes.shop_id, bikes.shop_name, bikes.fleet_id,
    bikes.duty, bikes.model_code, lives.mount, sensors.part_no, sensors.kind,
    advice.action, advice.urgency, advice.headline, advice.reasons, advice.look_elsewhere,
    evidence.waiting,
    risk.* exclude (sensor_id, basis), risk.basis as risk_basis,
    ahead.km as km_90_days, ahead.road as road_90_days, ahead.road_low as road_90_days_low,
    ahead.road_high as road_90_days_high, riding.odometer_stale,
    evidence.last_session_id, evidence.last_tested_on, evidence.last_verdict,
    evidence.last_conclusion, evidence.last_dropout_count, evidence.last_dropout_travel_pct,
    evidence.km_since_test, bikes.odometer_now_km, bikes.odometer_read_on,
    risk.defect_now >= $floor as above_floor,
    answers.answer, answers.answered_on, answers.advised_action as answer_to,
    answers.until as answer_until, answers.reason as answer_reason, answers.answered_by,
    false as answer_pending
from marts.sensors_now as sensors
join marts.bikes using (unit_id)
join marts.sensor_lives as lives using (sensor_id)
join marts.advice as advice using (sensor_id)
join marts.evidence as evidence using (sensor_id)
left join marts.defect_risk as risk using (sensor_id)
left join marts.risk_ahead as ahead
    on ahead.sensor_id = sensors.sensor_id and ahead.horizon_kind = 'days' and ahead.horizon = 90
left join marts.riding_rates as riding on riding.unit_id = sensors.unit_id
left join marts.advice_answers as answers
    on answers.sensor_id = sensors.sensor_id and answers.ended_by is null
where hash(sensors.sensor_id) % $parts = $part
