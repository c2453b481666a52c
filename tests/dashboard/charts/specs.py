"""Reading a chart by its Vega-Lite specification."""

from __future__ import annotations


def spec_of(chart) -> dict:
    """The specification, checked against the Vega-Lite schema by altair."""
    return chart.to_dict()


def layers_with(spec: dict, mark: str) -> list[dict]:
    return [layer for layer in spec["layer"] if layer["mark"]["type"] == mark]


def data_of(spec: dict, layer: dict) -> list[dict]:
    """The rows behind a layer, wherever altair has put them."""
    name = layer.get("data", spec.get("data", {}))["name"]
    return spec["datasets"][name]
