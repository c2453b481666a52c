-- grain: one part number: the number that is fitted in its place today, itself where none replaced it
create table marts.new_part_numbers as
with recursive followed as (
    select part_no, part_no as new_part_no, replaced_by as then_by, 0 as steps
    from staging.parts
    union all
    select followed.part_no, parts.part_no, parts.replaced_by, followed.steps + 1
    from followed
    join staging.parts as parts on parts.part_no = followed.then_by
    -- a ring of numbers that replace one another ends somewhere
    where followed.steps < 10
)

select part_no, arg_max(new_part_no, steps) as new_part_no
from followed
group by part_no
