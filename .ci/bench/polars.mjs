// The job in Polars: node polars.mjs LOG OUT.parquet none|window. See duckdb.mjs. Two rolling medians are not quite the
// median of seven distances from their own median, so that spikes are not counted here.
import pl from 'nodejs-polars';

const [log, out, spikes] = process.argv.slice(2);
let r = log.endsWith('.parquet') ? pl.readParquet(log) : pl.readCSV(log, { tryParseDates: true });
const flow = (empty) => pl.lit(empty).minus(pl.col('Distance')).pow(2.5).mul(1.38);
r = r.withColumns(pl.lit(1.475).minus(pl.col('Distance')).alias('head'), flow(1.5).alias('before'),
  flow(1.475).alias('after'));
let spike = pl.lit(false);
if (spikes === 'window') {
  const seven = { windowSize: 7, center: true, minPeriods: 1 };
  r = r.withColumn(pl.col('Distance').minus(pl.col('Distance').rollingMedian(seven)).abs().alias('off'));
  spike = pl.col('off').gt(pl.col('off').rollingMedian(seven).mul(1.4826).mul(3)).and(pl.col('off').gt(0.009));
}
r = r.withColumn(pl.when(spike).then(pl.lit('spike')).otherwise(pl.lit('')).alias('flags'));
r.select('Time', 'Distance', 'head', 'Flow', 'before', 'after', 'flags').writeParquet(out, { compression: 'zstd' });
const next = (name) => pl.col(name).shift(-1);
let s = r.select(
  pl.col('Time').dt.strftime('%Y-%m-%d').alias('day'), pl.col('Time').dt.strftime('%Y-%m').alias('month'),
  next('Time').cast(pl.Int64).minus(pl.col("Time").cast(pl.Int64)).div(1e6).alias('dt'),
  next('before').plus(pl.col('before')).div(2).alias('b'), next('after').plus(pl.col('after')).div(2).alias('a'),
  next('Total').minus(pl.col('Total')).alias('counted'),
);
s = s.withColumns(pl.when(pl.col('dt').ltEq(300)).then(pl.col('dt').mul(pl.col('b'))).otherwise(pl.lit(0)).alias('before'),
  pl.when(pl.col('dt').ltEq(300)).then(pl.col('dt').mul(pl.col('a'))).otherwise(pl.lit(0)).alias('after'));
const by = (name) => s.groupBy(name).agg(pl.col('before').sum(), pl.col('after').sum(), pl.col('counted').sum())
  .sort(name).toRecords();
const [days, months] = [by('day'), by('month')];
const sum = (key) => days.reduce((a, x) => a + Number(x[key] ?? 0), 0);
console.log(JSON.stringify({
  before: sum('before'), after: sum('after'), counted: sum('counted'), days: days.length, months: months.length,
  first: days[0].after, month: months[0].after, spikes: -1,
}));
