"""Many jobs at once: one function per plant, run by an engine that others wrote.

* ``screening``: one plant, from its folder to its result
* ``result``: that result as values, and its file, so that an interrupted run resumes
* ``engine``: which folders are jobs, and who runs them: processes of this machine, or Dask
* ``page``: what comes out, a table and an HTML page
"""
