-- grain: one entry a row of marts.worklist, by what pages look it up by
create index worklist_by_unit on marts.worklist (unit_id)
