"""Writes a trace from a CSV as Parquet, with pandas: the file of somebody who never heard of the project.

Usage: write.py FROM.csv TO.parquet DTYPE PACKING, where DTYPE is that of the tensions.
"""

import sys

import pandas

frame = pandas.read_csv(sys.argv[1], comment="#")
if sys.argv[3] != "float64":
    frame["tension_kN"] = frame["tension_kN"].astype(sys.argv[3])
frame.insert(0, "remark", "x")
frame.to_parquet(sys.argv[2], index=False, compression=None if sys.argv[4] == "none" else sys.argv[4])
