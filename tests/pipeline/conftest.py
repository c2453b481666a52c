"""Homes that several modules only read, built once."""

from tests.pipeline.faulty_shop import faulty_copy, faulty_home

__all__ = ["faulty_copy", "faulty_home"]
