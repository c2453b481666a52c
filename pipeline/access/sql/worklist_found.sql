-- grain: one search of the worklist: how many sensors are found, and which stand at the places asked
with answered as (
    select
        unnest($answered_sensors::varchar[]) as sensor_id,
        unnest($answered_advice::varchar[]) as advised,
        unnest($answers_given::varchar[]) as answer
),

chosen as materialized (
    select
        worklist.sensor_id, worklist.label, worklist.unit_id, worklist.mount, worklist.urgency,
        -- the least first, blanks last; by label alone all stand alike here
        nullif(case $ordered_by
            when 'urgency' then -worklist.urgency
            when 'defect_now' then -worklist.defect_now
            when 'defect_5000_km' then -worklist.defect_5000_km
            when 'km_since_test' then -worklist.km_since_test
            when 'last_tested_on' then epoch(worklist.last_tested_on::timestamp)
        end, 'nan'::double) as sort_key,
        case when len($words::varchar[]) > 0 then
            concat_ws(' ',
                worklist.label, worklist.unit_id, worklist.sensor_id, worklist.model_code,
                coalesce(
                    map($mounts::varchar[], $mount_words::varchar[])[worklist.mount],
                    worklist.mount
                ),
                worklist.part_no
            )
        end as looked_through
    from marts.worklist as worklist
    left join answered using (sensor_id)
    where ($actions::varchar[] is null or list_contains($actions::varchar[], worklist.action))
        and ($shops::varchar[] is null or list_contains($shops::varchar[], worklist.shop_id))
        and (
            $fleets::varchar[] is null
            or list_contains($fleets::varchar[], coalesce(worklist.fleet_id, ''))
        )
        and (
            $duties::varchar[] is null
            or list_contains($duties::varchar[], coalesce(worklist.duty, ''))
        )
        and (
            $answers::varchar[] is null
            or list_contains(
                $answers::varchar[],
                coalesce(
                    nullif(
                        -- typed since the build, unless the advice became a stronger one
                        case
                            when list_position($by_rising_urgency::varchar[], worklist.action)
                                <= list_position($by_rising_urgency::varchar[], answered.advised)
                                then answered.answer
                            else worklist.answer
                        end,
                        ''
                    ),
                    $no_answer
                )
            )
        )
),

-- whatever case it is written in; letters that lower() leaves apart are put for one another first
folded as materialized (
    select
        * replace (
            case
                when strlen(looked_through) = length(looked_through)
                    or not regexp_matches(looked_through, $odd_letter)
                    then lower(looked_through)
                else lower(list_reduce(
                    list_distinct(regexp_extract_all(looked_through, $odd_letter)),
                    lambda said, letter: replace(
                        said, letter, map($odd_letters::varchar[], $odd_folded::varchar[])[letter]
                    ),
                    looked_through
                ))
            end as looked_through
        )
    from chosen
),

-- the first word alone leaves few for the others
found as materialized (
    select sensor_id, label, unit_id, mount, urgency, sort_key
    from folded
    where len($words::varchar[]) = 0
        or case
            when contains(looked_through, lower(list_extract($words::varchar[], 1)))
                then list_bool_and(list_transform(
                    $words::varchar[], lambda word: contains(looked_through, lower(word))
                ))
            else false
        end
),

shown as (
    select *
    from found
    order by sort_key nulls last, label, unit_id, mount, urgency desc, sensor_id
    limit $most offset $skipped
)

select
    (select count(*) from found) as found_count,
    (
        select list(
            sensor_id
            order by sort_key nulls last, label, unit_id, mount, urgency desc, sensor_id
        )
        from shown
    ) as sensor_ids
