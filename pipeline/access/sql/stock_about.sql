-- grain: one row: what the stock plan was made for
select about from marts.stock_about
