-- grain: one part number that is said to be replaced, in the end, by itself
with recursive chain as (
    select part_no as start, replaced_by as next_no, 1 as steps
    from staging.parts
    where replaced_by is not null
    union all
    select chain.start, parts.replaced_by, chain.steps + 1
    from chain
    join staging.parts as parts on parts.part_no = chain.next_no
    where parts.replaced_by is not null and chain.next_no <> chain.start and chain.steps < 50
)

select 'Part ' || start || ' is said to be replaced, in the end, by itself.' as notice
from chain
where next_no = start
order by start
