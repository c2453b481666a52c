-- grain: one sensor and one day: no advice has been kept yet
create table marts.advised (
    sensor_id varchar, as_of date, action varchar, defect_now double, by_lot boolean, version integer
)
