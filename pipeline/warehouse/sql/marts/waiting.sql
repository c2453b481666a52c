-- grain: one set-aside value or row that speaks of a known bike, with that bike
create table marts.waiting as
with named as (
    select
        set_aside.*,
        rows.cells['unit_id'] as unit_named,
        case set_aside.table_name
            when 'sensors' then set_aside.row_key
            else coalesce(rows.cells['sensor_id'], tests.sensor_id)
        end as sensor_id
    from intake.set_aside
    left join intake.rows using (row_id)
    left join intake.any_tests as tests
        on tests.session_id = if(
            set_aside.table_name in ('sweeps', 'test_sessions'),
            set_aside.row_key, rows.cells['session_id']
        )
),

words(table_name, word) as (
    values ('units', 'bike'), ('odometer', 'odometer reading'), ('sensors', 'sensor'),
        ('test_sessions', 'test'), ('sweeps', 'sweep'), ('repair_outcomes', 'repair'),
        ('calendar', 'calendar window'), ('ride_log', 'ride log'), ('shops', 'shop'),
        ('parts', 'part'), ('advice_answers', 'answer to advice')
)

select
    coalesce(named.unit_named, sensors.unit_id) as unit_id,
    named.effect <> 'cell' as stands_aside,
    named.row_id, named.table_name, named.row_key, named.column_name, named.reason,
    coalesce(words.word, named.table_name) || ' ' || coalesce(named.row_key, 'in line ' || named.line)
        || if(
            named.reason like 'waiting for %',
            ' is ' || replace(
                named.reason, 'waiting for ' || split_part(named.reason, ' ', 3) || ' ',
                'waiting for ' || coalesce(parents.word, 'record') || ' '
            ),
            ': ' || if(named.value = named.row_key, '', coalesce(named.column_name || ' ', '')
                || coalesce(named.value || ', ', '')) || named.reason
        ) as sentence
from named
left join words using (table_name)
left join words as parents on parents.table_name = split_part(named.reason, ' ', 3)
left join intake.any_sensors as sensors using (sensor_id)
where coalesce(named.unit_named, sensors.unit_id) is not null
