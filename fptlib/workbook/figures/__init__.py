"""Figures that carry a verdict: ``figure(case, checks)`` in one module for each subject.

They draw what the procedure worked out and hold no calculation of their own. Each can draw
a step that was not tested, with the reason.
"""
