// node pack.mjs LOG.csv OUT.parquet: the log as a zstd Parquet file.
import { DuckDBInstance } from '@duckdb/node-api';

const [log, out] = process.argv.slice(2);
const db = await (await DuckDBInstance.create(':memory:', { threads: '2' })).connect();
await db.run(`COPY (SELECT * FROM read_csv('${log}', header = true, columns = {'Time': 'TIMESTAMP',
  'Distance': 'DOUBLE', 'Flow': 'DOUBLE', 'Total': 'DOUBLE'})) TO '${out}' (FORMAT parquet, COMPRESSION zstd)`);
