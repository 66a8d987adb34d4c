"""Physics of a chilled-water plant: plain functions in the trade's own units.

A float gives a float, an array an array, a series a series of the same index, and a
number of the package ``uncertainties`` keeps its uncertainty. Impossible states raise a
named error; in arrays they go missing. Nothing here reads files or knows of points.
"""
