-- grain: one sensor in service and the advice of one published version
copy (
    select
        $version::integer as version, $as_of::date as as_of, worklist.sensor_id, worklist.unit_id,
        worklist.shop_id, worklist.part_no, worklist.action, worklist.headline,
        worklist.defect_now, cheapest.next_work, cheapest.next_days, cheapest.leave as leave_cost,
        lot.sensor_id is not null as by_lot
    from marts.worklist as worklist
    left join marts.cheapest as cheapest using (sensor_id)
    left join marts.drawn_by_lot as lot using (sensor_id)
    order by worklist.sensor_id
) to $path (format parquet, compression zstd)
