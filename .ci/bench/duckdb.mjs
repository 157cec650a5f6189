// The job in DuckDB: node duckdb.mjs LOG OUT.parquet none|window ordered|file
// Heads and flows by two settings, daily and monthly totals by the trapezoid rule over steps of no more than five
// minutes, the counter's increase, and, with "window", readings more than 3 x max(1.4826 MAD, 3 mm) off the median of
// seven; all readings with heads, flows and flags go into OUT. "ordered" sorts by time, "file" trusts the file's order.
import { DuckDBInstance } from '@duckdb/node-api';

const [log, out, spikes, order] = process.argv.slice(2);
const instance = await DuckDBInstance.create(':memory:', { threads: '2' });
const db = await instance.connect();
await db.run("SET TimeZone='UTC'");
const source = log.endsWith('.parquet')
  ? `read_parquet('${log}')`
  : `read_csv('${log}', header = true, columns = {'Time': 'TIMESTAMP', 'Distance': 'DOUBLE', 'Flow': 'DOUBLE', 'Total': 'DOUBLE'})`;
const over = order === 'ordered' ? 'ORDER BY t' : '';
const flow = (empty) => `1.38 * pow(greatest(${empty} - d, 0), 2.5)`;
await db.run(`CREATE TEMP TABLE r AS SELECT Time AS t, Distance AS d, Flow AS logged, Total AS c,
  1.475 - Distance AS head, ${flow('1.5').replaceAll('d,', 'Distance,')} AS before,
  ${flow('1.475').replaceAll('d,', 'Distance,')} AS after FROM ${source}`);
let rows = 'SELECT *, false AS spike FROM r';
if (spikes === 'window') {
  rows = `WITH w AS (SELECT *, [lag(d, 3) OVER (${over}), lag(d, 2) OVER (${over}), lag(d) OVER (${over}), d,
      lead(d) OVER (${over}), lead(d, 2) OVER (${over}), lead(d, 3) OVER (${over})] AS seven FROM r),
    m AS (SELECT * EXCLUDE (seven), seven, list_median(seven) AS middle FROM w)
    SELECT * EXCLUDE (seven, middle),
      abs(d - middle) > 3 * greatest(1.4826 * list_median(list_transform(seven, lambda x: abs(x - middle))), 0.003)
        AS spike FROM m`;
}
await db.run(`COPY (SELECT t, d, head, logged, before, after, CASE WHEN spike THEN 'spike' ELSE '' END AS flags
  FROM (${rows})) TO '${out}' (FORMAT parquet, COMPRESSION zstd)`);
const totals = (period) => `WITH s AS (SELECT t, before, after, c, lead(t) OVER (${over}) AS t1,
    lead(before) OVER (${over}) AS before1, lead(after) OVER (${over}) AS after1, lead(c) OVER (${over}) AS c1 FROM r),
  v AS (SELECT date_trunc('${period}', t) AS day, epoch(t1 - t) AS dt, * FROM s)
  SELECT day, sum(CASE WHEN dt <= 300 THEN dt * (before + before1) / 2 END) AS before,
    sum(CASE WHEN dt <= 300 THEN dt * (after + after1) / 2 END) AS after, sum(c1 - c) AS counted
  FROM v GROUP BY day ORDER BY day`;
const all = async (sql) => (await db.runAndReadAll(sql)).getRowObjects();
const days = await all(totals('day'));
const months = await all(totals('month'));
const spiked = await all(`SELECT count(*) AS n FROM read_parquet('${out}') WHERE flags = 'spike'`);
const sum = (list, key) => list.reduce((a, x) => a + Number(x[key] ?? 0), 0);
console.log(JSON.stringify({
  before: sum(days, 'before'), after: sum(days, 'after'), counted: sum(days, 'counted'),
  days: days.length, months: months.length, first: Number(days[0].after), month: Number(months[0].after),
  spikes: spikes === 'window' ? Number(spiked[0].n) : -1,
}));
