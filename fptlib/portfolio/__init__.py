"""Many jobs at once: one function per plant, run by an engine that others wrote.

* ``jobs``: which folders are jobs
* ``screening``: one plant, from its folder to its result
* ``results``: one file per plant, so that an interrupted run resumes
* ``engines``: worker processes of this machine, or a Dask scheduler
* ``table``, ``page``: what comes out
* ``command``: all of it, for the command line
"""
