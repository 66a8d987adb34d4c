"""Functional tests of the changeover into and out of waterside-economizer operation."""

__version__ = "0.1.0"
