-- grain: one cell; a time with its offset, not after a day, or nothing where it needs a closer look
create or replace temp macro sure_moment(value, latest_day) as if(
    regexp_full_match(
        value,
        '(19[5-9]\d|20\d\d)-\d\d-\d\d[T ]([01]\d|2[0-3]):[0-5]\d(:[0-5]\d(\.\d{1,6})?)?(Z|[+-](0\d|1[0-4])(:?[0-5]\d)?)'
    ) and value[:10] <= latest_day and try_cast(value[:10] as date) is not null,
    replace(value, ' ', 'T'), null
)
