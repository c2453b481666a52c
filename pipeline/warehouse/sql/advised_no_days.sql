-- grain: one sensor and one day: no file is read
create or replace temp table advised_days (
    sensor_id varchar, as_of date, action varchar, defect_now double, by_lot boolean
)
