"""Frames that the page of the parts stock reads."""

from models.frames import Column, FrameSchema
from models.stock.schemas import STOCK_ORDERS

STOCK_ROWS = FrameSchema(
    "stock_rows",
    "one shop and number ordered, with their names; what is to be ordered or passed on first",
    (
        *STOCK_ORDERS.columns,
        Column("shop_name", "text", "the shop's name"),
        Column("description", "text", "the part's description", blank=True),
    ),
)

STOCK_ASKING = FrameSchema(
    "stock_asking",
    "one sensor that may ask for a part within the days covered, the likeliest first",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("part_no", "text", "the sensor's own number"),
        Column("days", "whole", "horizon of the chance, days from the as-of day", "d"),
        Column("need", "number", "chance that it asks for a part by then", "0 to 1"),
    ),
)

STOCK_LEFT_OUT = FrameSchema(
    "stock_left_out",
    "one sensor whose need is not known",
    (
        Column("sensor_id", "text", "the sensor"),
        Column("unit_id", "text", "the bike"),
        Column("label", "text", "plate or fleet number"),
        Column("shop_name", "text", "the shop's name"),
        Column("part_no", "text", "part number of the sensor"),
    ),
)
