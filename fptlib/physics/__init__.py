"""Physics of a chilled-water plant: plain functions in the trade's own units.

A quantity is a float or a numpy array; the result has its shape. An impossible state raises a
named error; among the rows of an array it becomes NaN. Nothing here reads files or knows of
points.
"""
