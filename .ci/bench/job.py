"""The job in pandas: python3 job.py LOG.csv OUT.csv.zst none|window. See duckdb.mjs. Debian's pandas writes no Parquet:
the readings go into a CSV file packed by zstd's fastest level through a pipe."""
import json
import subprocess
import sys

import numpy as np
import pandas as pd

log, out, spikes = sys.argv[1:4]
r = pd.read_csv(log, parse_dates=["Time"])
d = r["Distance"].to_numpy()
flow = lambda empty: 1.38 * np.power(np.maximum(empty - d, 0), 2.5)
r["head"], r["before"], r["after"] = 1.475 - d, flow(1.5), flow(1.475)
spike = np.zeros(len(r), bool)
if spikes == "window":
    seven = np.lib.stride_tricks.sliding_window_view(np.pad(d, 3, constant_values=np.nan), 7)
    middle = np.nanmedian(seven, axis=1)
    mad = np.nanmedian(np.abs(seven - middle[:, None]), axis=1)
    spike = np.abs(d - middle) > 3 * np.maximum(1.4826 * mad, 0.003)
r["flags"] = np.where(spike, "spike", "")
with open(out, "wb") as packed:
    zstd = subprocess.Popen(["zstd", "-1", "-q"], stdin=subprocess.PIPE, stdout=packed)
    r[["Time", "Distance", "head", "Flow", "before", "after", "flags"]].to_csv(zstd.stdin, index=False)
    zstd.stdin.close()
    zstd.wait()
dt = r["Time"].diff().shift(-1).dt.total_seconds()
volume = lambda q: (dt * (q + q.shift(-1)) / 2).where(dt <= 300, 0)
v = pd.DataFrame({"before": volume(r["before"]), "after": volume(r["after"]), "counted": r["Total"].diff().shift(-1)})
days = v.groupby(r["Time"].dt.floor("D")).sum()
months = v.groupby(r["Time"].dt.to_period("M")).sum()
print(json.dumps({
    "before": days["before"].sum(), "after": days["after"].sum(), "counted": days["counted"].sum(),
    "days": len(days), "months": len(months), "first": days["after"].iloc[0], "month": months["after"].iloc[0],
    "spikes": int(spike.sum()) if spikes == "window" else -1,
}))
