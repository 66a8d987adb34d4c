"""The plain way: pandas reads, psychrolib loops over the rows. FILE SHARE COLUMN ...

Only every n-th row is looped over, n = 1 / SHARE; the caller scales that part.
Prints the seconds of CPU of reading and of the loop.
"""

from __future__ import annotations

import sys
import time

import pandas as pd
import psychrolib

file, share, stamp, *columns = sys.argv[1:]
begin = time.process_time()
table = pd.read_csv(file, usecols=[stamp, *columns], parse_dates=[stamp])
read = time.process_time() - begin
psychrolib.SetUnitSystem(psychrolib.IP)
pressure = psychrolib.GetStandardAtmPressure(4200.0)
part = table.iloc[:: round(1.0 / float(share))]
begin = time.process_time()
for row in part.itertuples():
    psychrolib.GetTWetBulbFromRelHum(
        row.outdoor_dry_bulb, min(row.outdoor_humidity, 100.0) / 100.0, pressure)
print(read, time.process_time() - begin)
