"""Trends: files as they come, through the point map, onto one uniform grid.

Readers only translate; nothing is guessed silently, and everything done is a remark. Nothing
is imported here, so that who needs the grid alone does not load the readers.
"""
