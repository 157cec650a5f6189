// Reads the tables of a batch by DuckDB and by Polars and holds them to each other: node lake.mjs FOLDER.
import { DuckDBInstance } from "@duckdb/node-api";
import assert from "node:assert/strict";

const folder = process.argv[2];
const db = await (await DuckDBInstance.create(":memory:")).connect();
const rows = async (sql) => (await db.runAndReadAll(sql)).getRowObjectsJson();

const readings = `'${folder}/readings/*/*.parquet'`;
const bySite = await rows(`select site, count(*)::int n, count(distinct year(time_utc))::int as calendar,
  count(head_recorded_m)::int heads, count(air_temperature_c)::int air, count(counter_m3)::int counter,
  count(flow_after_m3s)::int flows from ${readings} group by site order by site`);
assert.equal(bySite.length, 7);
for (const s of bySite) {
  assert.equal(s.n, 48, s.site);
  assert.equal(s.calendar, 2, s.site);
  assert.equal(s.heads, ["distances", "heads", "levels", "warm"].includes(s.site) ? 48 : 0, s.site);
  assert.equal(s.air, s.site === "warm" ? 48 : 0, s.site);
  assert.equal(s.counter, s.site === "counters" ? 48 : 0, s.site);
  assert.ok(s.flows >= 46, s.site);
}

// The total of each site is the sum of its days and of its months, and that of the list of sites.
const totals = await rows(`select t.site, t.lane, sum(value) filter (period_kind = 'day') as days,
  sum(value) filter (period_kind = 'month') as months, any_value(value) filter (period_kind = 'total') as total,
  any_value(s.after_m3) as after, any_value(s.before_m3) as before
  from '${folder}/totals.parquet' t join '${folder}/sites.parquet' s using (site)
  where lane in ('before', 'after') group by t.site, t.lane`);
assert.equal(totals.length, 14);
for (const t of totals) {
  assert.ok(Math.abs(t.days - t.total) < 0.01 && Math.abs(t.months - t.total) < 0.01, JSON.stringify(t));
  assert.equal(t.total, t.lane === "after" ? t.after : t.before);
}
// A flow that is held from reading to reading by the trapezoidal rule gives the total: volumes from the readings.
const volumes = await rows(`select site, sum((flow_after_m3s + following) / 2 * seconds) as volume from (
  select site, flow_after_m3s, lead(flow_after_m3s) over w as following,
    epoch(lead(time_utc) over w) - epoch(time_utc) as seconds from ${readings} window w as (partition by site order by time_utc))
  where site in ('distances', 'levels', 'heads', 'flows', 'warm') group by site`);
for (const v of volumes) {
  const { after } = totals.find((t) => t.site === v.site && t.lane === "after");
  assert.ok(Math.abs(v.volume - after) < 1e-4 * after, `${v.site}: ${v.volume} by the readings, ${after} in the list`);
}
const findings = await rows(`select count(*)::int n from '${folder}/findings.parquet' join '${folder}/sites.parquet' using (site)`);
assert.ok(findings[0].n >= 7);
const [schema] = await rows(`select count(distinct decode(value))::int n from parquet_kv_metadata(${readings})
  where decode(key) = 'schema'`);
assert.equal(schema.n, 1);
console.log(`lake: DuckDB reads ${bySite.length} sites, and their readings, days, months and totals agree`);

const pl = await import("nodejs-polars").then((m) => m.default, () => null);
if (!pl) {
  console.log("lake: Polars cannot be had, so it was not tried");
  process.exit(0);
}
const all = pl.scanParquet(`${folder}/readings/*/*.parquet`).collectSync();
assert.equal(all.height, 7 * 48);
assert.equal(all.getColumn("site").nUnique(), 7);
console.log(`lake: Polars reads ${all.height} rows of ${all.width} columns`);
