/* The explorer: looks into the record that stands packed in the page. It fetches nothing. */
(function () {
'use strict';
const root = document.getElementById('explorer');
if (!root) return;
const facts = JSON.parse(document.getElementById('explorer-facts').textContent);
const body = document.getElementById('explorer-body');
const DAY = 86400, MINUS = '\u2212';

/* ---- small tools ---- */
function make(tag, properties, ...children) {
	const e = document.createElement(tag);
	for (const [key, value] of Object.entries(properties || {})) {
		if (key === 'class') e.className = value;
		else if (key.startsWith('on')) e.addEventListener(key.slice(2), value);
		else if (value === true) e.setAttribute(key, '');
		else if (value !== false && value != null) e.setAttribute(key, value);
	}
	e.append(...children);
	return e;
}
const clamp = (v, low, high) => Math.min(Math.max(v, low), high);
const readings = (n) => grouped(n, 0) + (n === 1 ? ' reading' : ' readings');
/* pretty writes a unit for people: m3/h as m³/h. */
const pretty = (unit) => unit.replace(/m3/g, 'm³').replace(/ft3/g, 'ft³');
/* grouped writes a number with commas between thousands and a true minus. */
function grouped(v, decimals) {
	if (!isFinite(v)) return '–';
	let text = Math.abs(v).toFixed(decimals);
	const zero = /^[0.]*$/.test(text);
	let [whole, fraction] = text.split('.');
	whole = whole.replace(/\B(?=(\d{3})+$)/g, ',');
	text = fraction ? whole + '.' + fraction : whole;
	return (v < 0 && !zero ? MINUS : '') + text;
}
const signed = (v, decimals) => {
	const text = grouped(v, decimals);
	return text.startsWith(MINUS) || /^[0.,–]*$/.test(text) ? text : '+' + text;
};
/* decimals for a number among numbers of a size, for about four digits. */
const digitsFor = (size) => size >= 1000 ? 0 : size >= 100 ? 1 : size >= 10 ? 2 : size >= 1 ? 3 : 4;
/* volumes like those of the report: about six digits. */
const volumeDigits = (v) => { v = Math.abs(v); return v >= 1000 ? 0 : v >= 10 ? 1 : v >= 1 ? 2 : 3; };

/* ---- time: the zone of the report and of the log, never that of the browser ---- */
function offsetAt(zone, t) {
	let low = 0, high = zone.at.length - 1;
	while (low < high) {
		const middle = (low + high + 1) >> 1;
		if (zone.at[middle] <= t) low = middle; else high = middle - 1;
	}
	return zone.offsets[low];
}
const local = (t, zone) => new Date((t + offsetAt(zone || facts.zone, t)) * 1000);
/* civil is the instant of a wall time, s as if it were UTC. */
function civil(wall, zone) {
	zone = zone || facts.zone;
	const a = offsetAt(zone, wall - DAY), b = offsetAt(zone, wall + DAY);
	for (const o of [Math.max(a, b), Math.min(a, b)]) if (offsetAt(zone, wall - o) === o) return wall - o;
	return wall - Math.min(a, b);
}
const MONTHS = ['Jan', 'Feb', 'Mar', 'Apr', 'May', 'Jun', 'Jul', 'Aug', 'Sep', 'Oct', 'Nov', 'Dec'];
const WEEKDAYS = ['Sun', 'Mon', 'Tue', 'Wed', 'Thu', 'Fri', 'Sat'];
const two = (n) => String(n).padStart(2, '0');
const clock = (d, seconds) => two(d.getUTCHours()) + ':' + two(d.getUTCMinutes()) +
	(seconds || d.getUTCSeconds() ? ':' + two(d.getUTCSeconds()) : '');
const dateText = (d, year) => d.getUTCDate() + ' ' + MONTHS[d.getUTCMonth()] + (year ? ' ' + d.getUTCFullYear() : '');
/* years reports whether dates need their year: the record is in more than one, but for its end. */
const years = () => local(facts.from).getUTCFullYear() !== local(facts.until - 1).getUTCFullYear();
/* spanText writes a span: 19 Aug 15:26–17:12. */
function spanText(from, until) {
	if (until - from > 3600) { from = Math.round(from / 60) * 60; until = Math.round(until / 60) * 60; }
	const a = local(from), b = local(until);
	const first = dateText(a, years()) + ' ' + clock(a);
	return a.toISOString().slice(0, 10) === b.toISOString().slice(0, 10) ?
		first + '–' + clock(b) : first + ' – ' + dateText(b, years()) + ' ' + clock(b);
}
/* tomlTime writes an instant in a zone for a site file; with its offset where the clock shows the time twice. */
function tomlTime(t, zone) {
	const d = local(t, zone), text = d.toISOString().slice(0, 19), o = offsetAt(zone, t);
	const wall = t + o, before = offsetAt(zone, t - DAY), after = offsetAt(zone, t + DAY);
	const twice = before !== after && [before, after].filter((x) => offsetAt(zone, wall - x) === x).length !== 1;
	if (!twice) return text;
	const m = Math.abs(o) / 60;
	return text + (o < 0 ? '-' : '+') + two(Math.floor(m / 60)) + ':' + two(m % 60);
}

/* ---- data ---- */
let data; // days and cells, in SI units
function decode(bytes) {
	let at = 0;
	const column = (n, scale) => {
		const out = new Float64Array(n);
		let last = 0;
		for (let i = 0; i < n; i++) {
			let x = bytes[at++];
			if (x > 127) {
				let byte = bytes[at++], shift = 7;
				x &= 127;
				for (; byte > 127 && shift < 21; shift += 7, byte = bytes[at++]) x |= (byte & 127) << shift;
				x |= (byte & 127) << shift;
				if (byte > 127) { // longer than an integer of the processor
					let unit = 268435456;
					do { byte = bytes[at++]; x += (byte & 127) * unit; unit *= 128; } while (byte > 127);
					last += x % 2 ? -(x + 1) / 2 : x / 2;
					out[i] = last;
					continue;
				}
			}
			last += (x >>> 1) ^ -(x & 1);
			out[i] = last;
		}
		if (scale) for (let i = 0; i < n; i++) out[i] *= scale;
		return out;
	};
	const d = { days: facts.days, n: facts.cells }, s = facts.steps, n = facts.cells;
	d.dayFrom = column(d.days); d.dayUntil = column(d.days);
	for (const key of ['dayBefore', 'dayAfter', 'dayLow', 'dayHigh']) d[key] = column(d.days);
	d.dayCovered = column(d.days);
	for (const key of ['dayBefore', 'dayAfter', 'dayLow', 'dayHigh'])
		for (let i = 0; i < d.days; i++) d[key][i] = d[key][i] === -1 ? NaN : d[key][i] * s.volume;
	d.start = column(n + 1);
	d.rows = column(n); d.dropped = column(n); d.state = column(n);
	for (const [key, step] of [['head', s.head], ['before', s.flow], ['after', s.flow]]) {
		const low = column(n), span = column(n), high = new Float64Array(n);
		for (let i = 0; i < n; i++) {
			if (span[i] < 0) { low[i] = high[i] = NaN; continue; }
			high[i] = (low[i] + span[i]) * step;
			low[i] *= step;
		}
		d[key + 'Low'] = low; d[key + 'High'] = high;
	}
	const sums = (name) => {
		const volume = column(n), covered = column(n);
		const v = new Float64Array(n + 1), c = new Float64Array(n + 1);
		for (let i = 0; i < n; i++) { v[i + 1] = v[i] + volume[i]; c[i + 1] = c[i] + covered[i]; }
		for (let i = 0; i <= n; i++) { v[i] *= s.volume; c[i] /= 1000; }
		d['sum' + name] = v; d['covered' + name] = c;
	};
	sums('Before'); sums('After');
	if (facts.counter) sums('Counter');
	d.flags = facts.flags.map((f) => ({ cell: column(f.marks), rows: column(f.marks) }));
	return d;
}
async function unpack() {
	const text = atob(document.getElementById('explorer-data').textContent.trim());
	const n = text.length, bytes = new Uint8Array(n);
	for (let i = 0; i < n; i++) bytes[i] = text.charCodeAt(i);
	const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream('deflate'));
	return new Uint8Array(await new Response(stream).arrayBuffer());
}
/* cellAt is the number of the cell that holds an instant. */
function cellAt(t) {
	let low = 0, high = data.n - 1;
	while (low < high) {
		const middle = (low + high + 1) >> 1;
		if (data.start[middle] <= t) low = middle; else high = middle - 1;
	}
	return low;
}
/* edgeNear is the number of the cell whose start, or the end, is nearest to an instant. */
function edgeNear(t) {
	const i = cellAt(t);
	return t - data.start[i] < data.start[i + 1] - t ? i : i + 1;
}
/* totals of the cells from i to before j */
function totals(i, j) {
	const d = data, t = { from: d.start[i], until: d.start[j], rows: 0, dropped: 0, state: 0,
		headLow: Infinity, headHigh: -Infinity, flags: [], change: 0, about: false };
	t.before = d.sumBefore[j] - d.sumBefore[i]; t.after = d.sumAfter[j] - d.sumAfter[i];
	t.coveredBefore = d.coveredBefore[j] - d.coveredBefore[i];
	t.covered = d.coveredAfter[j] - d.coveredAfter[i];
	if (facts.counter) t.counted = d.sumCounter[j] - d.sumCounter[i];
	for (let k = i; k < j; k++) {
		t.rows += d.rows[k]; t.dropped += d.dropped[k]; t.state |= d.state[k];
		shareChange(t, k);
		if (d.headLow[k] < t.headLow) t.headLow = d.headLow[k];
		if (d.headHigh[k] > t.headHigh) t.headHigh = d.headHigh[k];
	}
	d.flags.forEach((f, number) => {
		let rows = 0;
		for (let k = firstMark(f, i); k < f.cell.length && f.cell[k] < j; k++) rows += f.rows[k];
		if (rows) t.flags.push([number, rows]);
	});
	return t;
}
/* shareChange adds what a cell changes over the time that before and after both cover; where they cover parts of it, the
   flow of each part counts as even. */
function shareChange(t, k) {
	const d = data, before = d.coveredBefore[k + 1] - d.coveredBefore[k], after = d.coveredAfter[k + 1] - d.coveredAfter[k];
	if (!(before > 0 && after > 0)) return;
	const both = Math.min(before, after);
	if (Math.abs(before - after) > 0.01) t.about = true;
	t.change += (d.sumAfter[k + 1] - d.sumAfter[k]) * both / after - (d.sumBefore[k + 1] - d.sumBefore[k]) * both / before;
}
const changeText = (t) => (t.about ? 'about ' : '') + signedVolume(t.change);
function firstMark(f, i) {
	let low = 0, high = f.cell.length;
	while (low < high) { const m = (low + high) >> 1; if (f.cell[m] < i) low = m + 1; else high = m; }
	return low;
}

/* ---- buckets: what is drawn of a view ---- */
/* Lengths that divide an hour or a day, s. */
const LENGTHS = [1, 2, 5, 10, 15, 30, 60, 120, 180, 300, 360, 600, 900, 1200, 1800, 3600, 7200, 10800, 14400, 21600,
	43200];
/* unitOf decides what one bar or point of a view stands for: cells taken together over a length, or natural units. */
function unitOf(a, b, width) {
	const span = b - a;
	if (span <= 16 * DAY) {
		let length = facts.cell_s;
		for (const l of LENGTHS) {
			if (l < facts.cell_s || l % facts.cell_s) continue;
			length = l;
			if (span / l <= width) break;
		}
		return { line: true, length };
	}
	for (const [unit, days] of [['day', 1], ['week', 7], ['month', 30.4], ['quarter', 91.3], ['year', 365.25]])
		if (width / (span / DAY / days) >= 3 || unit === 'year') return { line: false, unit };
}
/* sameUnit numbers the natural unit that a day belongs to. */
function numberOf(unit, dayStart) {
	const d = local(dayStart + DAY / 2), m = d.getUTCFullYear() * 12 + d.getUTCMonth();
	switch (unit) {
	case 'day': return dayStart;
	case 'week': return Math.floor((Date.UTC(d.getUTCFullYear(), d.getUTCMonth(), d.getUTCDate()) / 864e5 + 3) / 7);
	case 'month': return m;
	case 'quarter': return Math.floor(m / 3);
	}
	return d.getUTCFullYear();
}
/* edges of the buckets of a view, as numbers of cells */
function edges(a, b, u) {
	const first = cellAt(a), last = Math.min(cellAt(b) + 1, data.n), list = [];
	if (u.line) {
		const per = Math.max(1, Math.round(u.length / facts.cell_s));
		if (per === 1) { for (let i = first; i <= last; i++) list.push(i); return list; }
		let day = dayOf(data.start[first]), origin = cellAt(data.dayFrom[day]);
		if (day === 0) origin = 0;
		for (let i = origin; i < last;) {
			if (day + 1 < data.days && data.start[i] >= data.dayFrom[day + 1]) day++;
			const next = day + 1 < data.days ? cellAt(data.dayFrom[day + 1]) : data.n;
			if (i + per > first) list.push(i);
			i = Math.min(i + per, Math.max(next, i + 1));
		}
		list.push(last);
		return list;
	}
	let number = null;
	const from = dayOf(a);
	let start = from;
	while (start > 0 && numberOf(u.unit, data.dayFrom[start - 1]) === numberOf(u.unit, data.dayFrom[from])) start--;
	const until = dayOf(b);
	let day = start;
	for (; day < data.days; day++) {
		const now = numberOf(u.unit, data.dayFrom[day]);
		if (now !== number) {
			if (day > until) break;
			list.push(day === 0 ? 0 : cellAt(data.dayFrom[day]));
			number = now;
		}
	}
	list.push(day === data.days ? data.n : cellAt(data.dayFrom[day]));
	return list;
}
function dayOf(t) {
	let low = 0, high = data.days - 1;
	while (low < high) { const m = (low + high + 1) >> 1; if (data.dayFrom[m] <= t) low = m; else high = m - 1; }
	return low;
}
/* quantile of numbers in order */
const quantile = (list, q) => list.length ? list[clamp(Math.floor(q * list.length), 0, list.length - 1)] : NaN;
let scratch; // means of the cells of a bucket
/* buckets are the least and the greatest, sums and states of a view. No cell is passed over. */
function buckets(a, b, width) {
	const u = unitOf(a, b, width), list = edges(a, b, u), d = data, out = [];
	scratch = scratch || new Float64Array(d.n);
	for (let e = 0; e + 1 < list.length; e++) {
		const i = list[e], j = list[e + 1];
		const x = { i, j, from: d.start[i], until: d.start[j], headLow: Infinity, headHigh: -Infinity,
			beforeLow: Infinity, beforeHigh: -Infinity, afterLow: Infinity, afterHigh: -Infinity,
			lostLow: 0, lostHigh: 0, rows: 0, used: 0, state: 0 };
		let means = 0;
		const levels = [];
		for (let k = i; k < j; k++) {
			x.rows += d.rows[k]; x.used += d.rows[k] - d.dropped[k]; x.state |= d.state[k];
			if (d.headLow[k] < x.headLow) x.headLow = d.headLow[k];
			if (d.headHigh[k] > x.headHigh) x.headHigh = d.headHigh[k];
			if (d.beforeLow[k] < x.beforeLow) x.beforeLow = d.beforeLow[k];
			if (d.beforeHigh[k] > x.beforeHigh) x.beforeHigh = d.beforeHigh[k];
			if (d.afterLow[k] < x.afterLow) x.afterLow = d.afterLow[k];
			if (d.afterHigh[k] > x.afterHigh) x.afterHigh = d.afterHigh[k];
			if (u.line && d.rows[k] && isFinite(d.headLow[k])) levels.push((d.headLow[k] + d.headHigh[k]) / 2);
			difference(k, x);
			if (!u.line && d.coveredAfter[k + 1] > d.coveredAfter[k])
				scratch[means++] = (d.sumAfter[k + 1] - d.sumAfter[k]) / (d.coveredAfter[k + 1] - d.coveredAfter[k]);
		}
		const covered = d.coveredAfter[j] - d.coveredAfter[i], shown = d.coveredBefore[j] - d.coveredBefore[i];
		x.covered = covered / (x.until - x.from);
		x.after = covered > 0 ? (d.sumAfter[j] - d.sumAfter[i]) / covered : NaN;
		x.before = shown > 0 ? (d.sumBefore[j] - d.sumBefore[i]) / shown : NaN;
		if (x.rows === 1) { // one reading: itself, not the mean to its neighbours
			x.before = x.beforeHigh;
			if (x.used === 1) x.after = x.afterHigh;
		}
		x.bridged = x.used === 0 && covered > 0;
		if (x.bridged) { x.afterLow = Math.min(x.afterLow, x.after); x.afterHigh = Math.max(x.afterHigh, x.after); }
		if (facts.counter) {
			x.counted = d.sumCounter[j] - d.sumCounter[i]; x.countedTime = d.coveredCounter[j] - d.coveredCounter[i];
			x.beforeVolume = d.sumBefore[j] - d.sumBefore[i]; x.beforeTime = shown;
		}
		if (levels.length > 1) levels.sort((p, q) => p - q);
		x.head = quantile(levels, 0.5);
		if (!u.line) {
			const list = scratch.subarray(0, means).sort();
			x.quarter = quantile(list, 0.25); x.median = quantile(list, 0.5); x.threeQuarters = quantile(list, 0.75);
		}
		out.push(x);
	}
	return { unit: u, list: out };
}
/* difference takes in what after is less before in a cell: of its means and, where a spike was dropped or is kept, of
   its greatest. */
function difference(k, x) {
	const d = data, after = d.coveredAfter[k + 1] - d.coveredAfter[k], before = d.coveredBefore[k + 1] - d.coveredBefore[k];
	const take = (v) => { if (v < x.lostLow) x.lostLow = v; if (v > x.lostHigh) x.lostHigh = v; };
	if (!(after > 0)) return;
	const mean = (d.sumAfter[k + 1] - d.sumAfter[k]) / after;
	if (before > 0 && d.rows[k] !== 1) take(mean - (d.sumBefore[k + 1] - d.sumBefore[k]) / before);
	if (d.rows[k] > 0 && d.dropped[k] === 0) take(d.afterHigh[k] - d.beforeHigh[k]);
	if (d.dropped[k] > 0) take(mean - d.beforeHigh[k]);
}

/* ---- what is shown ---- */
const state = { a: facts.from, b: facts.until, unit: 0, off: new Set(), selected: null, kind: 'ruling', action: '',
	key: '', blanks: { by: facts.by || '' }, all: false, hover: null };
const shortest = () => Math.max(facts.cell_s * 6, 60);
let view = null; // buckets of the view
const lanes = {};
const dom = {};
let frame = 0;
facts.until = Math.max(facts.until, facts.from + shortest()); // of a single reading too
state.b = facts.until;
const later = () => { if (!frame) frame = requestAnimationFrame(() => { frame = 0; draw(); }); };
const unit = () => facts.units[state.unit];
const flow = (v) => v / unit().factor;
const volume = (v) => v / facts.volume.factor;
const volumeText = (v) => grouped(volume(v), volumeDigits(volume(v))) + ' ' + pretty(facts.volume.symbol);
const signedVolume = (v) => signed(volume(v), volumeDigits(volume(v))) + ' ' + pretty(facts.volume.symbol);
const colours = () => {
	const style = getComputedStyle(root), of = (name) => style.getPropertyValue('--x-' + name).trim();
	const c = {};
	for (const name of ['ink', 'second', 'after', 'before', 'area', 'band', 'half', 'hatch', 'line', 'grid', 'paper', 'shade'])
		c[name] = of(name);
	return c;
};
let colour = {};

/* show goes to a span of time. */
function show(a, b) {
	const low = facts.from, high = Math.max(facts.until, facts.from + shortest());
	const span = clamp(b - a, Math.min(shortest(), high - low), high - low);
	const middle = (a + b) / 2;
	state.a = clamp(middle - span / 2, low, high - span);
	state.b = state.a + span;
	later();
}
const zoom = (factor, at) => {
	const t = at == null ? (state.a + state.b) / 2 : at;
	show(t - (t - state.a) * factor, t + (state.b - t) * factor);
};
const move = (share) => show(state.a + share * (state.b - state.a), state.b + share * (state.b - state.a));
function around(length) {
	const t = state.selected ? (state.selected.from + state.selected.until) / 2 : (state.a + state.b) / 2;
	if (length === 'month') {
		const d = local(t), y = d.getUTCFullYear(), m = d.getUTCMonth();
		return show(civil(Date.UTC(y, m, 1) / 1000), civil(Date.UTC(y, m + 1, 1) / 1000));
	}
	const k = dayOf(t);
	if (length === 'day') return show(data.dayFrom[k], data.dayUntil[k]);
	const first = Math.max(0, k - 3);
	show(data.dayFrom[first], data.dayUntil[Math.min(data.days - 1, first + 6)]);
}
/* select marks a span, whose ends go to edges of cells. */
function select(i, j, worth) {
	if (j <= i) return clear();
	state.selected = Object.assign(totals(i, j), { i, j, worth });
	state.action = '';
	if (worth) state.kind = worth.kind;
	later();
	panel();
}
function clear() { state.selected = null; later(); panel(); }

/* ---- ticks of time ---- */
const STEPS = [1, 5, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200];
function timeTicks(a, b, width, byMonth) {
	const most = Math.max(2, Math.floor(width / (byMonth ? 48 : 78))), list = [];
	const put = (wall, text) => { const t = civil(wall); if (t >= a && t <= b) list.push([t, text]); };
	const first = a + offsetAt(facts.zone, a), last = b + offsetAt(facts.zone, b);
	const step = !byMonth && STEPS.find((s) => (b - a) / s <= most);
	if (step) {
		for (let w = Math.ceil(first / step) * step; w <= last; w += step) {
			const d = new Date(w * 1000);
			put(w, w % DAY === 0 ? WEEKDAYS[d.getUTCDay()] + ' ' + dateText(d) : clock(d));
		}
		return list;
	}
	const days = [1, 2, 7, 14].find((n) => (b - a) / DAY / n <= most);
	if (days && !byMonth) {
		const monday = days >= 7 ? 4 : 0; // 5 January 1970 was a Monday
		for (let n = Math.ceil((first / DAY - monday) / days) * days + monday; n * DAY <= last; n += days) {
			const d = new Date(n * DAY * 1000);
			put(n * DAY, (days <= 2 && width > 500 ? WEEKDAYS[d.getUTCDay()] + ' ' : '') + dateText(d));
		}
		return list;
	}
	const months = [1, 2, 3, 6, 12, 24, 60].find((n) => (b - a) / DAY / 30.4 / n <= most) || 120;
	const d = new Date(first * 1000);
	for (let m = Math.ceil((d.getUTCFullYear() * 12 + d.getUTCMonth()) / months) * months; ; m += months) {
		const wall = Date.UTC(Math.floor(m / 12), m % 12, 1) / 1000;
		if (wall > last) break;
		const year = String(Math.floor(m / 12));
		put(wall, m % 12 === 0 ? year : MONTHS[m % 12] + (list.length ? '' : ' ' + year));
	}
	return list;
}
/* niceTicks are about four round numbers from low to high. */
function niceTicks(low, high) {
	const rough = (high - low) / 4 || 1, power = Math.pow(10, Math.floor(Math.log10(rough)));
	const step = [1, 2, 2.5, 5, 10].map((m) => m * power).find((s) => s >= rough * 0.8);
	const list = [];
	for (let k = Math.ceil(low / step - 1e-9); k * step <= high + step * 1e-9; k++) list.push(k * step);
	return { list, decimals: Math.max(0, -Math.floor(Math.log10(step) + 1e-9) + (/^2\.5/.test(String(step / power)) ? 1 : 0)) };
}

/* ---- lanes ---- */
const FONT = '12px "Segoe UI", Roboto, "Helvetica Neue", Arial, "Liberation Sans", sans-serif';
const phone = () => dom.charts.clientWidth < 600;
const left = () => phone() ? 46 : 54, right = () => phone() ? 8 : 14;
function lane(name, height, last, range, paint) {
	const host = make('div', { class: 'x-plot' });
	const axis = (more) => Object.assign({ font: FONT, stroke: () => colour.second, grid: { stroke: () => colour.grid, width: 1 },
		ticks: { show: false } }, more);
	let decimals = 0;
	const options = () => ({
		width: dom.charts.clientWidth, height: height() + (last ? 24 : 0), padding: [6, right(), last ? 0 : 6, 0],
		legend: { show: false }, cursor: { show: false }, series: [{}, { paths: () => null, points: { show: false } }],
		scales: { x: { time: false, range: () => [state.a, state.b] }, y: { range } },
		axes: [
			axis({ size: last ? 24 : 0, gap: 4, splits: (u) => u.ticksOfTime.map((x) => x[0]),
				values: (u) => u.ticksOfTime.map((x) => last && xOf(x[0]) + 3.4 * x[1].length < dom.charts.clientWidth ? x[1] : '') }),
			axis({ size: left(), gap: 4,
				splits: (u, k, low, high) => { const n = niceTicks(low, high); decimals = n.decimals; return n.list; },
				values: (u, list) => list.map((v) => grouped(v, decimals)) }),
		],
		hooks: { draw: [(u) => {
			const c = u.ctx, p = u.bbox;
			c.save();
			c.beginPath(); c.rect(p.left, p.top, p.width, p.height + 1); c.clip();
			paint(c, (t) => u.valToPos(t, 'x', true), (v) => u.valToPos(v, 'y', true), p, devicePixelRatio || 1);
			c.restore();
		}] },
	});
	const self = { host, name, draw() {
		if (!self.plot || self.width !== dom.charts.clientWidth) {
			if (self.plot) self.plot.destroy();
			self.width = dom.charts.clientWidth;
			const o = options(), ticks = timeTicks(state.a, state.b, self.width);
			self.plot = new uPlot(o, [[state.a, state.b], [0, 1]], (u, start) => { u.ticksOfTime = ticks; host.append(u.root); start(); });
			return;
		}
		self.plot.ticksOfTime = timeTicks(state.a, state.b, self.width - left());
		self.plot.setData([[state.a, state.b], [0, 1]]);
	} };
	lanes[name] = self;
	return host;
}
/* reach is the least and the greatest of figures of the buckets. */
function reach(low, high) {
	let a = Infinity, b = -Infinity;
	for (const x of view.list) {
		const p = low(x), q = high(x);
		if (p < a) a = p;
		if (q > b) b = q;
	}
	return [a, b];
}
const inView = (x) => x.until >= state.a && x.from <= state.b;
/* at is where the point of a bucket stands: a single reading at its time, others in the middle. */
const at = (x) => x.rows === 1 && !facts.means && data.start[x.i + 1] - x.from <= facts.interval_s * 1.01 ? x.from : (x.from + x.until) / 2;

function paintLevel(c, X, Y, p, ratio) {
	const mm = 1000;
	if (!view.unit.line) {
		c.fillStyle = colour.second;
		for (const x of view.list) if (x.rows) bar(c, X, x, Y(x.headHigh * mm), Y(x.headLow * mm), ratio);
	} else {
		c.strokeStyle = colour.ink; c.lineWidth = 1.3 * ratio; c.fillStyle = colour.ink; c.globalAlpha = 0.35;
		for (const x of view.list) if (x.rows > 1) bar(c, X, x, Y(x.headHigh * mm), Y(x.headLow * mm), ratio, true);
		c.globalAlpha = 1;
		c.beginPath();
		let open = false;
		for (const x of view.list) {
			if (!isFinite(x.head)) { open = open && x.covered > 0; continue; }
			const px = X(at(x)), py = Y(x.head * mm);
			if (open) c.lineTo(px, py); else c.moveTo(px, py);
			open = true;
		}
		c.stroke();
	}
	rule(c, p, Y(0), colour.ink, ratio);
	if (!lanes.level.cut) return;
	c.fillStyle = colour.ink; // where something lies beyond the scale, a wedge at its edge
	for (const x of view.list) {
		const middle = (X(x.from) + X(x.until)) / 2, r = 4 * ratio;
		const wedge = (y, way) => { c.beginPath(); c.moveTo(middle - r, y + way * r * 1.4); c.lineTo(middle + r, y + way * r * 1.4);
			c.lineTo(middle, y); c.fill(); };
		if (x.headHigh * mm > lanes.level.cut[1]) wedge(p.top, 1);
		if (x.headLow * mm < lanes.level.cut[0]) wedge(p.top + p.height, -1);
	}
}
/* levelRange is that of all heads; of more than a day and a half, that of cells of which every reading counts, so that
   spikes do not flatten all else: these are then marked at the edge. */
function levelRange() {
	const padded = (low, high) => { const d = (high - low) * 0.06 || 1; return [low - d, high + d]; };
	const [low, high] = reach((x) => x.headLow * 1000, (x) => x.headHigh * 1000);
	lanes.level.cut = null;
	if (!isFinite(low)) return [0, 1];
	const all = padded(Math.min(low, 0), Math.max(high, 0));
	if (state.b - state.a <= 1.5 * DAY) return all;
	let a = 0, b = 0;
	for (let k = cellAt(state.a), end = cellAt(state.b); k <= end; k++) {
		if (data.dropped[k]) continue;
		if (data.headLow[k] < a) a = data.headLow[k];
		if (data.headHigh[k] > b) b = data.headHigh[k];
	}
	if (!(b > a) || all[1] - all[0] < 1.6 * (b - a) * 1000) return all;
	return lanes.level.cut = padded(a * 1000, b * 1000);
}
function rule(c, p, y, stroke, ratio, dash) {
	c.save(); c.strokeStyle = stroke; c.lineWidth = ratio; c.setLineDash((dash || []).map((d) => d * ratio));
	c.beginPath(); c.moveTo(p.left, Math.round(y) + 0.5); c.lineTo(p.left + p.width, Math.round(y) + 0.5); c.stroke(); c.restore();
}
/* bar fills the width of a bucket, less a little where bars stand apart, between two heights; never less than a pixel. */
function bar(c, X, x, top, bottom, ratio, whole) {
	const l = X(x.from), w = X(x.until) - l, inset = whole ? 0 : w * 0.14;
	c.fillRect(l + inset, top - 0.5 * ratio, Math.max(w - 2 * inset, ratio), Math.max(bottom - top, 0) + ratio);
}
function hatch(c, l, w, p, ratio) {
	c.save();
	c.beginPath(); c.rect(l, p.top, Math.max(w, 2.5 * ratio), p.height); c.clip();
	c.fillStyle = colour.paper; c.fill();
	c.strokeStyle = colour.hatch; c.lineWidth = ratio;
	c.beginPath();
	const step = 7 * ratio, low = Math.floor((l - p.height) / step) * step;
	for (let k = low; k < l + w + step; k += step) { c.moveTo(k, p.top + p.height); c.lineTo(k + p.height, p.top); }
	c.stroke();
	c.strokeRect(l, p.top - 2, Math.max(w, 2.5 * ratio), p.height + 4);
	c.restore();
}
/* gaps hatches the time that the corrected total does not cover. */
function gaps(c, X, p, ratio) {
	let from = null;
	const end = (t) => { if (from != null) hatch(c, X(from), X(t) - X(from), p, ratio); from = null; };
	for (const x of view.list) {
		const missing = x.covered === 0 && x.until > facts.from && x.from < facts.until;
		if (!missing) end(x.from); else if (from == null) from = Math.max(x.from, facts.from);
	}
	if (view.list.length) end(Math.min(view.list[view.list.length - 1].until, facts.until));
}
function paintFlow(c, X, Y, p, ratio) {
	gaps(c, X, p, ratio);
	if (view.unit.line) paintLines(c, X, Y, p, ratio); else paintBars(c, X, Y, ratio);
	rule(c, p, Y(0), colour.ink, ratio);
}
function paintLines(c, X, Y, p, ratio) {
	const run = []; // points of before without a break
	const area = () => {
		if (run.length) {
			c.beginPath(); c.moveTo(run[0][0], Y(0));
			for (const q of run) c.lineTo(q[0], q[1]);
			c.lineTo(run[run.length - 1][0], Y(0)); c.closePath();
			c.fillStyle = colour.area; c.fill();
			c.beginPath(); run.forEach((q, k) => k ? c.lineTo(q[0], q[1]) : c.moveTo(q[0], q[1]));
			c.strokeStyle = colour.before; c.lineWidth = 1 * ratio; c.stroke();
		}
		run.length = 0;
	};
	for (const x of view.list) {
		const top = x.rows ? x.beforeHigh : x.before;
		if (!isFinite(top)) { area(); continue; }
		run.push([X(x.rows > 1 || !x.rows ? (x.from + x.until) / 2 : at(x)), Y(flow(top))]);
	}
	area();
	c.fillStyle = colour.after; c.globalAlpha = 0.3;
	for (const x of view.list) if (x.used > 1) bar(c, X, x, Y(flow(x.afterHigh)), Y(flow(x.afterLow)), ratio, true);
	c.globalAlpha = 1;
	c.strokeStyle = colour.after; c.lineJoin = 'round';
	let last = null;
	const stroke = (dashed) => {
		c.lineWidth = (dashed ? 2 : 1.8) * ratio; c.setLineDash(dashed ? [5 * ratio, 4 * ratio] : []); c.beginPath();
		last = null;
		for (const x of view.list) {
			if (!isFinite(x.after)) { last = null; continue; }
			const q = [X(x.bridged ? (x.from + x.until) / 2 : at(x)), Y(flow(x.after)), x.bridged];
			if (last && (last[2] || q[2]) === dashed) {
				c.moveTo(last[0], last[1]); c.lineTo(q[0], q[1]);
			}
			last = q;
		}
		c.stroke();
	};
	stroke(false); stroke(true);
	c.setLineDash([]);
}
function paintBars(c, X, Y, ratio) {
	for (const x of view.list) {
		if (isFinite(x.afterHigh)) {
			c.fillStyle = colour.band; bar(c, X, x, Y(flow(x.afterHigh)), Y(flow(x.afterLow)), ratio);
			c.fillStyle = colour.half; bar(c, X, x, Y(flow(x.threeQuarters)), Y(flow(x.quarter)), ratio);
			c.fillStyle = colour.ink; bar(c, X, x, Y(flow(x.median)), Y(flow(x.median)), ratio);
		}
		if (isFinite(x.beforeHigh)) {
			c.fillStyle = colour.before;
			const l = X(x.from), y = Y(flow(x.beforeHigh));
			c.fillRect(l, y - 0.9 * ratio, X(x.until) - l, 1.8 * ratio);
		}
	}
}
function paintDifference(c, X, Y, p, ratio) {
	c.fillStyle = colour.second;
	for (const x of view.list) {
		if (!(x.lostHigh > x.lostLow)) continue;
		c.globalAlpha = 0.35; bar(c, X, x, Y(flow(x.lostHigh)), Y(flow(x.lostLow)), ratio, view.unit.line);
		c.globalAlpha = 1;
		const l = X(x.from), w = Math.max(X(x.until) - l, ratio);
		for (const v of [x.lostLow, x.lostHigh]) if (v) c.fillRect(l, Y(flow(v)) - ratio / 2, w, ratio);
	}
	rule(c, p, Y(0), colour.ink, ratio);
}
/* shares are what the counter counted against the flow before, %, by hours or longer. */
function shares() {
	if (!view.unit.line) return view.list;
	const u = { line: true, length: Math.max(3600, view.unit.length) }, list = edges(state.a, state.b, u), d = data, out = [];
	for (let e = 0; e + 1 < list.length; e++) {
		const i = list[e], j = list[e + 1];
		out.push({ from: d.start[i], until: d.start[j], counted: d.sumCounter[j] - d.sumCounter[i],
			countedTime: d.coveredCounter[j] - d.coveredCounter[i], beforeVolume: d.sumBefore[j] - d.sumBefore[i],
			beforeTime: d.coveredBefore[j] - d.coveredBefore[i] });
	}
	return out;
}
const share = (x) => x.beforeVolume > 0 && x.countedTime >= 0.9 * (x.until - x.from) && x.beforeTime >= 0.9 * (x.until - x.from) ?
	100 * x.counted / x.beforeVolume : NaN;
function paintShare(c, X, Y, p, ratio) {
	rule(c, p, Y(100), colour.second, ratio, [6, 3]);
	c.fillStyle = colour.ink;
	for (const x of shares()) {
		const v = share(x);
		if (isFinite(v)) c.fillRect(X(x.from), Y(v) - ratio, Math.max(X(x.until) - X(x.from), ratio), 2 * ratio);
	}
}
function shareRange() {
	let low = 95, high = 105;
	for (const x of shares()) { const v = share(x); if (v < low) low = v; if (v > high) high = v; }
	return [low - (high - low) * 0.05, high + (high - low) * 0.05];
}

/* ---- flags ---- */
const FLAGROW = 16;
function flagRows() {
	const first = cellAt(state.a), last = cellAt(state.b), rows = [];
	facts.flags.forEach((f, k) => {
		if (state.off.has(k)) return;
		const list = data.flags[k], start = firstMark(list, first), runs = [];
		const more = f.name === 'gap' ? 1 : 0; // one that goes on beyond the view
		for (let m = start; m < list.cell.length && (list.cell[m] <= last || m === start && more); m++) {
			const cell = list.cell[m], run = runs[runs.length - 1];
			let from = cell; // a gap is flagged where it ends
			while (f.name === 'gap' && from > 0 && !data.rows[from - 1]) from--;
			if (from < cell) { runs.push([from, cell - 1]); continue; }
			if (run && cell <= run[1] + 1) run[1] = cell; else runs.push([cell, cell]);
		}
		const seen = runs.filter((r) => r[0] <= last && r[1] >= first);
		if (seen.length) rows.push({ flag: f, runs: seen });
	});
	return rows;
}
function canvasOf(canvas, height) {
	const ratio = devicePixelRatio || 1, width = dom.charts.clientWidth;
	canvas.width = width * ratio; canvas.height = height * ratio;
	canvas.style.width = width + 'px'; canvas.style.height = height + 'px';
	const c = canvas.getContext('2d');
	c.setTransform(ratio, 0, 0, ratio, 0, 0);
	c.clearRect(0, 0, width, height);
	c.font = FONT; c.textBaseline = 'middle';
	return c;
}
const xOf = (t) => left() + (t - state.a) / (state.b - state.a) * (dom.charts.clientWidth - left() - right());
const timeOf = (x) => state.a + (x - left()) / (dom.charts.clientWidth - left() - right()) * (state.b - state.a);
function drawFlags() {
	const rows = flagRows(), height = rows.length * FLAGROW + (rows.length ? 10 : 0);
	const c = canvasOf(dom.flags, height), width = dom.charts.clientWidth;
	dom.flags.style.display = rows.length ? '' : 'none';
	dom.flags.setAttribute('aria-label', 'Flags in view: ' + rows.map((r) => words(r.flag.name)).join(', '));
	rows.forEach((r, k) => {
		const y = k * FLAGROW + 4;
		c.strokeStyle = colour.grid; c.lineWidth = 1;
		c.beginPath(); c.moveTo(left(), y + FLAGROW - 0.5); c.lineTo(width - right(), y + FLAGROW - 0.5); c.stroke();
		c.save(); c.beginPath(); c.rect(left(), y, width - left() - right(), FLAGROW); c.clip();
		for (const run of r.runs) {
			const l = xOf(data.start[run[0]]), w = Math.max(xOf(data.start[run[1] + 1]) - l, 1.5);
			if (r.flag.changes) { c.fillStyle = colour.ink; c.fillRect(l, y + 3, w, FLAGROW - 6); }
			else { c.strokeStyle = colour.second; c.strokeRect(l + 0.5, y + 3.5, Math.max(w - 1, 1), FLAGROW - 7); }
		}
		c.restore();
		const text = words(r.flag.name), w = c.measureText(text).width;
		c.fillStyle = colour.paper; c.fillRect(left() + 2, y + 1, w + 5, FLAGROW - 2);
		c.fillStyle = colour.ink; c.fillText(text, left() + 4, y + FLAGROW / 2);
	});
}
const words = (name) => name.replace(/_/g, ' ');

/* ---- overview ---- */
/* overviewBars are the means of a day in bars of a natural unit, for a width. */
function overviewBars(width) {
	const d = data, span = facts.until - facts.from, bars = [];
	const [name] = ['day', 'week', 'month', 'quarter', 'year'].map((n, k) => [n, [1, 7, 30.4, 91.3, 365][k]])
		.find(([n, days]) => width / (span / DAY / days) >= 2.4 || n === 'year');
	for (let i = 0; i < d.days; i++) {
		const n = numberOf(name, d.dayFrom[i]);
		let last = bars[bars.length - 1];
		if (!last || last.n !== n) bars.push(last = { n, from: d.dayFrom[i], after: 0, before: 0, days: 0, shown: 0, whole: true });
		last.until = d.dayUntil[i];
		if (isFinite(d.dayAfter[i])) { last.after += d.dayAfter[i]; last.days++; }
		if (isFinite(d.dayBefore[i])) { last.before += d.dayBefore[i]; last.shown++; }
		if (d.dayCovered[i] < 960) last.whole = false;
	}
	return { name, bars };
}
function drawOverview() {
	const height = phone() ? 64 : 84, c = canvasOf(dom.overview, height + 20);
	const width = dom.charts.clientWidth - left() - right(), from = facts.from, until = facts.until;
	const x = (t) => left() + (t - from) / (until - from) * width, { name, bars } = overviewBars(width);
	let most = facts.daily_limit_m3 || 0;
	for (const b of bars) most = Math.max(most, b.days ? b.after / b.days : 0, b.shown ? b.before / b.shown : 0);
	const y = (v) => height - v / (most * 1.08 || 1) * (height - 8);
	c.fillStyle = colour.shade;
	for (const s of facts.corrections || []) c.fillRect(x(s.from), 4, Math.max(x(s.until) - x(s.from), 1), height - 4);
	for (const b of bars) {
		const l = x(b.from), w = x(b.until) - l;
		if (b.days) {
			const top = y(b.after / b.days);
			c.fillStyle = c.strokeStyle = colour.after;
			if (b.whole) c.fillRect(l + w * 0.14, top, Math.max(w * 0.72, 1), height - top);
			else if (w > 3) c.strokeRect(l + w * 0.14 + 0.5, top + 0.5, Math.max(w * 0.72 - 1, 1), height - top);
			else { c.globalAlpha = 0.5; c.fillRect(l, top, Math.max(w, 1), height - top); c.globalAlpha = 1; }
		}
		if (b.shown) { c.fillStyle = colour.before; c.fillRect(l, y(b.before / b.shown) - 0.8, Math.max(w, 1.5), 1.6); }
	}
	overviewAxes(c, x, y, most, width, height);
	const l = x(state.a), w = Math.max(x(state.b) - l, 8), middle = l + w / 2;
	if (state.b - state.a < (until - from) * 0.999) {
		c.strokeStyle = colour.ink; c.lineWidth = 2; c.strokeRect(clamp(middle - w / 2, 1, 1e9), 1, w, height + 1); c.lineWidth = 1;
		c.beginPath(); c.moveTo(middle, height + 4); c.lineTo(middle - 5, height + 12); c.lineTo(middle + 5, height + 12); c.fill();
	}
	dom.overviewHead.textContent = pretty(facts.volume.symbol) + ' a day, a bar a ' + name;
	dom.overview.setAttribute('aria-label', 'Volume ' + dom.overviewHead.textContent + ', before and after, of the whole period');
	dom.overview.timeAt = (px) => from + (px - left()) / width * (until - from);
}
/* overviewAxes draws the limit or the greatest figure, and the months. */
function overviewAxes(c, x, y, most, width, height) {
	const from = facts.from, until = facts.until, d = data;
	c.fillStyle = colour.ink; c.fillRect(left(), height, width, 1);
	c.textAlign = 'right'; c.fillStyle = colour.second;
	const mark = facts.daily_limit_m3 || niceTicks(0, most).list.pop();
	if (mark > 0) c.fillText(grouped(volume(mark), volumeDigits(volume(mark))), left() - 5, y(mark));
	if (facts.daily_limit_m3) {
		c.strokeStyle = colour.ink; c.setLineDash([7, 3]); c.beginPath(); c.moveTo(left(), y(mark)); c.lineTo(left() + width, y(mark)); c.stroke();
		c.setLineDash([]);
	}
	c.textAlign = 'left'; c.fillStyle = colour.ink;
	const monthly = until - from > 40 * DAY, mondays = (until - from) / DAY / 7;
	if (monthly && width / mondays > 4) for (let k = 0; k < d.days; k++)
		if (local(d.dayFrom[k]).getUTCDay() === 1) c.fillRect(x(d.dayFrom[k]), height, 1, 4);
	for (const [t, text] of timeTicks(from, until, width, monthly)) {
		c.fillRect(x(t), height, 1, 10);
		if (x(t) + c.measureText(text).width < left() + width + right()) c.fillText(text, x(t) + 4, height + 9);
	}
}

/* ---- drawing all ---- */
function draw() {
	if (!data || !dom.charts.clientWidth) return;
	colour = colours();
	view = buckets(state.a, state.b, dom.charts.clientWidth - left() - right());
	view.list = view.list.filter(inView);
	const i = edgeNear(state.a), j = edgeNear(state.b), t = totals(i, Math.max(i, j));
	drawOverview();
	for (const l of Object.values(lanes)) l.draw();
	drawFlags();
	heads(t);
	over();
	root.dataset.unit = view.unit.line ? view.unit.length + ' s' : view.unit.unit;
}
const swatch = (kind) => make('span', { class: 'x-swatch x-' + kind, 'aria-hidden': 'true' });
function heads(t) {
	const per = view.unit.line ? '' : ', a bar a ' + view.unit.unit;
	dom.heads.level.replaceChildren(make('b', {}, 'Level'), ' mm of head, corrected' + per + (lanes.level.cut ? '; wedges: beyond the scale, not counted' : ''));
	const symbol = pretty(unit().symbol);
	const key = make('span', { class: 'x-key' });
	if (view.unit.line)
		key.append(swatch('area'), ' before ', make('b', {}, volumeText(t.before)), ' ', swatch('line'), ' after ',
			make('b', {}, volumeText(t.after)), ...(view.list.some((x) => x.bridged) ? [' ', swatch('dash'), ' bridged'] : []));
	else
		key.append(swatch('tick'), ' before, greatest: ', make('b', {}, volumeText(t.before)), ' ', swatch('bars'),
			' after, least to greatest, middle half: ', make('b', {}, volumeText(t.after)));
	if (view.list.some((x) => x.covered === 0)) key.append(' ', swatch('gap'), ' missing');
	dom.heads.flow.replaceChildren(make('span', {}, make('b', {}, 'Flow'), ' ' + symbol + ', ' + spanText(state.a, state.b)), key);
	dom.heads.difference.replaceChildren(make('span', {}, make('b', {}, 'Difference'), ' ' + symbol + ', after less before'),
		make('span', {}, 'in view ', make('b', {}, changeText(t))));
	if (facts.counter) dom.heads.share.replaceChildren(make('span', {}, make('b', {}, 'Counter'), ' counted against the flow before, %'),
		make('span', {}, 'in view ', make('b', {}, t.before > 0 ? grouped(100 * t.counted / t.before, 1) + ' %' : '–')));
}
/* over draws the selection and the edges of it. */
function over() {
	const s = state.selected, box = dom.tint, drag = state.drag;
	const span = drag || s;
	box.hidden = !span || span.until < state.a || span.from > state.b;
	if (box.hidden) return;
	const l = clamp(xOf(span.from), left(), dom.charts.clientWidth - right());
	const r = clamp(xOf(span.until), left(), dom.charts.clientWidth - right());
	box.style.left = l + 'px'; box.style.width = Math.max(r - l, 2) + 'px';
	const a = local(span.from), b = local(span.until), days = span.until - span.from > 2 * DAY;
	dom.edges[0].textContent = days ? dateText(a) : clock(a);
	dom.edges[1].textContent = days ? dateText(b) : clock(b);
	dom.edges[0].classList.toggle('x-inside', l < 60);
	dom.edges[1].classList.toggle('x-inside', r > dom.charts.clientWidth - 60);
}

/* ---- the panel of a selection ---- */
const row = (label, value, strong) => make('div', { class: 'x-row' }, make('dt', {}, label), make('dd', strong ? { class: 'x-strong' } : {}, value));
function panel() {
	const s = state.selected, box = dom.panel;
	box.classList.toggle('x-empty', !s);
	if (!s) {
		box.replaceChildren(make('h3', {}, 'Nothing is selected'), make('p', {},
			'Drag over the charts, press Enter for all that is in view, or choose from the list: its volumes are shown here, ' +
			'with a block for the site file.'));
		return;
	}
	const mm = (v) => grouped(v * 1000, 0), list = make('dl', {});
	list.append(row('before', s.coveredBefore > 0 ? volumeText(s.before) : 'missing'));
	const how = s.state & 1 ? ', bounded now' : s.dropped && s.dropped === s.rows ? ', bridged now' : '';
	list.append(row('after' + how, s.covered > 0 ? (s.state & 2 ? '≥ ' : '') + volumeText(s.after) : 'missing', true));
	if (s.covered > 0 && s.coveredBefore > 0) list.append(row(Math.abs(s.covered - s.coveredBefore) > 0.01 ? 'change, in time both cover' : 'change', changeText(s)));
	const offered = offer(s);
	if (offered) list.append(row('with the ruling below', offered));
	if (s.counted != null && s.before > 0) list.append(row('counter', volumeText(s.counted)));
	if (s.headHigh >= s.headLow) list.append(row('head, corrected', mm(s.headLow) + ' to ' + mm(s.headHigh) + ' mm'));
	list.append(row('time covered', grouped(Math.floor(1000 * s.covered / (s.until - s.from)) / 10, 1) + ' %'));
	list.append(row('readings', grouped(s.rows, 0) + (s.dropped ? ', ' + grouped(s.dropped, 0) + ' not counted' : '')));
	const flags = s.flags.map(([k, rows]) => words(facts.flags[k].name) + ' ' + grouped(rows, 0)).join(', ');
	if (flags) list.append(row('flags', flags));
	box.replaceChildren(make('h3', {}, 'Selected: ' + spanText(s.from, s.until)), list);
	const why = sentence(s);
	if (why) box.append(make('p', {}, why));
	block(box, s);
}
/* sentence says why, of the flag that most readings have. */
function sentence(s) {
	let most = null;
	for (const f of s.flags) if (!most || f[1] > most[1]) most = f;
	if (!most) return s.covered === 0 ? 'No reading covers this time; its volume is not known.' : '';
	const f = facts.flags[most[0]];
	return grouped(most[1], 0) + ' of ' + readings(s.rows) + ' flagged “' + words(f.name) + '”: a reading that ' + f.means + '.';
}
/* checkOf is the one check that a ruling over a span can be about: that of all readings in it, or of all that do not
   count; '' when there is no such one. */
function checkOf(s) {
	const of = (rows) => s.flags.filter(([k, n]) => n === rows && facts.flags[k].name !== 'gap');
	const list = s.dropped ? of(s.dropped).filter(([k]) => facts.flags[k].changes) : of(s.rows);
	return list.length === 1 ? facts.flags[list[0][0]].name : '';
}
const actionOf = (s) => state.action || (s.state & 1 ? 'bound' : s.dropped && (s.dropped === s.rows || checkOf(s)) ? 'keep' : 'leave-out');
function leastOf(s) {
	let least = Infinity;
	for (let k = s.i; k < s.j; k++) if (data.afterLow[k] < least) least = data.afterLow[k];
	return isFinite(least) ? Math.max(least, 0) : 0;
}
const flowText = (v) => String(+(v / unit().factor).toPrecision(4)) + ' ' + unit().symbol;
/* offer is what the total of the span would be with the ruling below, where that can be told from here. */
function offer(s) {
	if (state.kind !== 'ruling') return '';
	switch (actionOf(s)) {
	case 'bound': return '≥ about ' + volumeText(leastOf(s) * Math.max(s.covered, s.coveredBefore));
	case 'leave-out': return checkOf(s) ? '' : 'missing';
	}
	return '';
}
/* lines of the block: text, or {blank, before, after} for what only a person knows. */
function lines(s) {
	const zone = state.kind === 'comment' ? facts.zone : facts.log_zone, out = [];
	const text = (key, value) => out.push([key.padEnd(6) + ' = ' + value]);
	const blank = (key, id, hint) => out.push([key.padEnd(6) + ' = "', { id, hint }, '"']);
	out.push(['# ' + spanText(s.from, s.until)], ['# ' + readings(s.rows)]);
	out.push([{ ruling: '[[ruling]]', correction: '[[correction]]', comment: '[[report.comment]]' }[state.kind]]);
	text('from', tomlTime(s.from, zone));
	text('until', tomlTime(s.until, zone));
	if (state.kind === 'comment') {
		blank('text', 'text', 'why, for whoever reads the report');
		return out;
	}
	if (state.kind === 'correction') {
		const key = settingKey();
		blank(key, 'value', (facts.recorded || []).filter((r) => r.key === key).map((r) => 'recorded ' + r.value)[0] || 'with its unit');
		blank('reason', 'reason', 'what shows it');
		blank('by', 'by', 'initials or role');
		return out;
	}
	const action = actionOf(s);
	if (checkOf(s)) text('checks', '["' + checkOf(s) + '"]');
	text('action', '"' + action + '"');
	if (action === 'bound') { text('least', '"' + flowText(leastOf(s)) + '"'); blank('most', 'most', 'as in 120 ' + unit().symbol); }
	if (action === 'value') blank('flow', 'flow', 'as in 12 ' + unit().symbol);
	blank('reason', 'reason', 'what was seen');
	blank('by', 'by', 'initials or role');
	return out;
}
const KEYS = ['empty_distance', 'level_of_zero_flow', 'distance_factor', 'head_factor', 'maximum_head', 'maximum_flow',
	'flow_cut_off', 'blanking_distance', 'logged_factor', 'channel_depth'];
const settingKey = () => state.key || ((facts.recorded || [])[0] || { key: KEYS[1] }).key;
/* quoted is what a person typed as it stands between the quotes of TOML. */
const quoted = (text) => JSON.stringify(text.trim().replace(/\u007f/g, '')).slice(1, -1);
const blanksOf = (list) => list.flat().filter((p) => p.id && !(state.blanks[p.id] || '').trim());
const written = (list) => list.map((l) => l.map((p) => p.id ? quoted(state.blanks[p.id] || '') : p).join('')).join('\n') + '\n';
function block(box, s) {
	const list = lines(s), pre = make('div', { class: 'x-block', role: 'group', 'aria-label': 'Block for the site file' });
	const copy = make('button', { type: 'button', class: 'x-copy', onclick: () => copyBlock(list, pre, copy) });
	const label = () => {
		const n = blanksOf(list).length;
		copy.textContent = n ? n + (n === 1 ? ' blank' : ' blanks') + ' to fill' : 'Copy ' + state.kind;
		copy.classList.toggle('x-waits', n > 0);
	};
	for (const parts of list) {
		const line = make('div', {});
		for (const p of parts) {
			if (!p.id) { line.append(p); continue; }
			const input = make('input', { type: 'text', spellcheck: 'false', 'aria-label': p.id + ': ' + p.hint, placeholder: p.hint,
				'data-blank': p.id, oninput: () => { state.blanks[p.id] = input.value; label(); } });
			input.value = state.blanks[p.id] || '';
			line.append(input);
		}
		if (!parts[1] && /^action/.test(parts[0])) line.replaceChildren('action = "', choice('action', ['keep', 'leave-out', 'bridge', 'value', 'bound'],
			actionOf(s), (v) => { state.action = v; panel(); }), '"');
		if (state.kind === 'correction' && parts[1] && parts[1].id === 'value') line.firstChild.replaceWith(
			choice('setting', KEYS, settingKey(), (v) => { state.key = v; delete state.blanks.value; panel(); }), ' = "');
		pre.append(line);
	}
	const kinds = make('div', { class: 'x-kinds' }, copy);
	for (const kind of ['ruling', 'correction', 'comment'])
		if (kind !== state.kind) kinds.append(make('button', { type: 'button', 'data-kind': kind, onclick: () => {
			state.kind = kind; panel(); dom.panel.querySelector('.x-copy').focus();
		} }, kind[0].toUpperCase() + kind.slice(1)));
	label();
	box.append(pre, kinds, dom.said);
	dom.said.textContent = '';
}
function choice(name, options, value, change) {
	const e = make('select', { 'aria-label': name, onchange: () => { change(e.value); dom.panel.querySelector('select').focus(); } },
		...options.map((o) => make('option', { value: o }, o)));
	e.value = value;
	return e;
}
async function copyBlock(list, pre, button) {
	const open = blanksOf(list);
	if (open.length) {
		pre.querySelector('[data-blank="' + open[0].id + '"]').focus();
		dom.said.textContent = 'Fill what is marked first: only a person knows it.';
		return;
	}
	const text = written(list);
	try {
		await navigator.clipboard.writeText(text);
	} catch (refused) { // no leave, or an old browser
		const area = make('textarea', { class: 'x-away', 'aria-hidden': 'true' });
		area.value = text;
		document.body.append(area);
		area.select();
		document.execCommand('copy');
		area.remove();
		button.focus();
	}
	root.dataset.copied = text;
	dom.said.textContent = 'Copied. Paste it at the end of the site file, and run check.';
}

/* ---- worth a look first ---- */
const FIRST = 8;
function worthList() {
	const all = facts.worth, shown = state.all ? all : all.slice(0, FIRST), list = make('ol', { class: 'x-worth' });
	for (const w of shown) {
		const effect = w.known === 'not known' ? w.known : (w.known ? w.known + ' ' : '') + signed(volume(w.m3), Math.abs(volume(w.m3)) >= 100 ? 0 : 1);
		const long = w.until - w.from > 2 * DAY;
		const a = local(w.from), when = long ? dateText(a) + ' – ' + dateText(local(w.until), years()) :
			dateText(a, years()) + (years() ? '' : ' ' + clock(a));
		list.append(make('li', {}, make('button', { type: 'button', onclick: () => jump(w),
			'aria-pressed': String(!!state.selected && state.selected.worth === w) },
			make('b', {}, when), make('span', {}, w.what), make('strong', {}, effect))));
	}
	const rest = all.slice(shown.length), n = rest.length + facts.more.spans;
	const sum = facts.more.m3 + rest.reduce((v, w) => v + (w.known ? 0 : w.m3), 0);
	const foot = make('p', { class: 'x-foot' }, 'What each does to the corrected total, ' + pretty(facts.volume.symbol) + '.' +
		(n ? ' ' + grouped(n, 0) + ' more spans: ' + signed(volume(sum), Math.abs(volume(sum)) >= 100 ? 0 : 1) + ' together.' : ''));
	if (rest.length || state.all) foot.append(' ', make('button', { type: 'button', class: 'x-link', onclick: () => {
		state.all = !state.all; worthList();
	} }, state.all ? 'Show fewer' : 'Show ' + rest.length + ' of them'));
	dom.worth.replaceChildren(make('h3', {}, 'Worth a look first'), all.length ? list : make('p', {}, 'Screening changed nothing.'), foot);
}
function jump(w) {
	const i = cellAt(w.from), j = Math.min(cellAt(w.until) + 1, data.n), a = data.start[i], b = data.start[j];
	const long = Math.max(b - a, shortest());
	show(a - long * 2.5, b + long * 2.5);
	if (b - a > (facts.until - facts.from) / 6) show(a, b);
	select(i, j, w);
	worthList();
	if (innerWidth < 1000) dom.charts.scrollIntoView({ block: 'start' });
}

/* ---- tools ---- */
function group(name, list, pressed, press) {
	const g = make('div', { class: 'x-group', role: 'group', 'aria-label': name });
	list.forEach((text, k) => g.append(make('button', { type: 'button', 'aria-pressed': pressed ? String(pressed(k)) : null,
		onclick: () => {
			press(k);
			if (pressed) [...g.children].forEach((b, n) => b.setAttribute('aria-pressed', String(pressed(n))));
		} }, text)));
	return g;
}
const isDark = () => (document.documentElement.dataset.theme || (matchMedia('(prefers-color-scheme: dark)').matches ? 'dark' : 'light')) === 'dark';
function tools() {
	const units = group('Unit of flow', facts.units.map((u) => pretty(u.symbol)), (k) => k === state.unit, (k) => { state.unit = k; later(); panel(); });
	const spans = group('Span in view', ['day', 'week', 'month', 'all'], null, (k) =>
		k === 3 ? show(facts.from, facts.until) : around(['day', 'week', 'month'][k]));
	const zooms = group('Zoom', ['+', MINUS], null, (k) => zoom(k ? 2 : 0.5));
	zooms.children[0].setAttribute('aria-label', 'Zoom in');
	zooms.children[1].setAttribute('aria-label', 'Zoom out');
	const chips = make('div', { class: 'x-chips', role: 'group', 'aria-label': 'Flags' }, make('span', { class: 'x-label' }, 'Flags'));
	facts.flags.forEach((f, k) => {
		const chip = make('button', { type: 'button', class: 'x-chip', 'aria-pressed': 'true', title: 'A reading that ' + f.means });
		const text = () => chip.replaceChildren(make('span', { class: 'x-tick', 'aria-hidden': 'true' }, state.off.has(k) ? '☐' : '✓'),
			' ' + words(f.name) + ' ' + grouped(f.rows, 0));
		chip.addEventListener('click', () => {
			if (state.off.has(k)) state.off.delete(k); else state.off.add(k);
			chip.setAttribute('aria-pressed', String(!state.off.has(k)));
			text();
			later();
		});
		text();
		chips.append(chip);
	});
	const theme = make('button', { type: 'button', class: 'x-theme', 'aria-pressed': String(isDark()), onclick: () => {
		document.documentElement.dataset.theme = isDark() ? 'light' : 'dark';
		theme.setAttribute('aria-pressed', String(isDark()));
		later();
	} }, 'Dark');
	matchMedia('(prefers-color-scheme: dark)').addEventListener('change', () => { theme.setAttribute('aria-pressed', String(isDark())); later(); });
	return make('div', { class: 'x-tools' }, units, spans, zooms, facts.flags.length ? chips : '', theme);
}

/* ---- pointer, wheel and keys ---- */
const pointers = new Map();
function point(e) { return e.clientX - dom.charts.getBoundingClientRect().left; }
/* snap is the edge of what is drawn that is nearest to a place. */
function snap(px) {
	const t = clamp(timeOf(px), facts.from, facts.until);
	let best = null;
	for (const x of view.list) for (const k of [x.i, x.j])
		if (best == null || Math.abs(data.start[k] - t) < Math.abs(data.start[best] - t)) best = k;
	return best == null ? edgeNear(t) : best;
}
function pointing(area) {
	let from = null, pinch = null;
	area.addEventListener('pointerdown', (e) => {
		if (e.button) return;
		pointers.set(e.pointerId, point(e));
		try { area.setPointerCapture(e.pointerId); } catch (gone) { /* a pointer that was lifted */ }
		if (pointers.size === 2) {
			const [p, q] = [...pointers.values()];
			pinch = { a: timeOf(Math.min(p, q)), b: timeOf(Math.max(p, q)) };
			from = null; state.drag = null; over();
		} else from = point(e);
	});
	area.addEventListener('pointermove', (e) => {
		const px = point(e);
		readout(px);
		if (!pointers.has(e.pointerId)) return;
		pointers.set(e.pointerId, px);
		if (pinch && pointers.size === 2) {
			const [p, q] = [...pointers.values()].sort((m, n) => m - n), width = dom.charts.clientWidth - left() - right();
			const scale = (pinch.b - pinch.a) / Math.max(q - p, 10);
			const a = pinch.a - (p - left()) * scale;
			show(a, a + width * scale);
		} else if (from != null && Math.abs(px - from) > 4) {
			const i = snap(Math.min(px, from)), j = snap(Math.max(px, from));
			state.drag = { i, j, from: data.start[i], until: data.start[j] };
			over();
		}
	});
	const end = (e) => {
		const drag = state.drag, known = pointers.delete(e.pointerId);
		if (!pointers.size) pinch = null;
		if (!known || from == null) return;
		const px = point(e), still = Math.abs(px - from) <= 4;
		from = null; state.drag = null;
		if (e.type === 'pointercancel') return over();
		if (still) clear(); else if (drag) select(drag.i, drag.j);
		worthList();
	};
	area.addEventListener('pointerup', end);
	area.addEventListener('pointercancel', end);
	area.addEventListener('pointerleave', () => { dom.read.textContent = ''; dom.hair.hidden = true; });
	area.addEventListener('wheel', (e) => {
		e.preventDefault();
		if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) move(e.deltaX / 800);
		else zoom(Math.pow(1.0018, clamp(e.deltaY * (e.deltaMode ? 30 : 1), -400, 400)), timeOf(point(e)));
	}, { passive: false });
}
/* readout says what stands under the pointer. */
function readout(px) {
	const t = timeOf(px);
	dom.hair.hidden = px < left() || t > state.b;
	if (dom.hair.hidden || !view) return;
	dom.hair.style.left = px + 'px';
	const x = view.list.find((b) => t >= b.from && t < b.until);
	if (!x) { dom.read.textContent = spanText(t, t).split('–')[0]; return; }
	const figure = (low, high, scale) => {
		const n = digitsFor(Math.abs(scale(high)));
		return isFinite(high) && high >= low ? scale(high) - scale(low) > 1e-9 ? grouped(scale(low), n) + ' to ' + grouped(scale(high), n) :
			grouped(scale(high), n) : 'missing';
	};
	const one = Math.abs(at(x) - x.from) < 1 ? spanText(x.from, x.from).split('–')[0] : spanText(x.from, x.until);
	dom.read.textContent = one + ': ' + (x.rows ? 'head ' + figure(x.headLow, x.headHigh, (v) => v * 1000) + ' mm, ' : '') +
		'before ' + figure(x.beforeLow, x.beforeHigh, flow) + ', after ' + figure(x.afterLow, x.afterHigh, flow) +
		(x.bridged ? ' bridged' : '') + ' ' + pretty(unit().symbol);
}
function keys(e) {
	if (e.ctrlKey || e.metaKey || e.altKey || /^(INPUT|SELECT|TEXTAREA)$/.test(e.target.tagName)) return;
	const act = { '+': () => zoom(0.5), '=': () => zoom(0.5), '-': () => zoom(2), '0': () => show(facts.from, facts.until),
		ArrowLeft: () => move(-0.25), ArrowRight: () => move(0.25), Home: () => show(facts.from, facts.from + state.b - state.a),
		End: () => show(facts.until - state.b + state.a, facts.until), Escape: clear,
		Enter: () => select(edgeNear(state.a), edgeNear(state.b)) }[e.key];
	if (!act || e.key === 'Enter' && e.target !== dom.charts) return;
	e.preventDefault();
	act();
}
function overviewPointing(canvas) {
	let from = null, moved = false;
	canvas.addEventListener('pointerdown', (e) => { from = point(e); moved = false; canvas.setPointerCapture(e.pointerId); });
	canvas.addEventListener('pointermove', (e) => {
		if (from == null || !moved && Math.abs(point(e) - from) < 5) return;
		moved = true;
		const t = canvas.timeAt(point(e)), span = state.b - state.a;
		show(t - span / 2, t + span / 2);
	});
	canvas.addEventListener('pointerup', (e) => {
		if (from != null && !moved) {
			const k = dayOf(canvas.timeAt(point(e)));
			show(data.dayFrom[k], data.dayUntil[k]);
		}
		from = null;
	});
	canvas.addEventListener('pointercancel', () => { from = null; });
	canvas.addEventListener('wheel', (e) => {
		e.preventDefault();
		zoom(Math.pow(1.0018, clamp(e.deltaY, -400, 400)), canvas.timeAt(point(e)));
	}, { passive: false });
}

/* ---- building it ---- */
function build() {
	const head = (name) => dom.heads[name] = make('div', { class: 'x-head' });
	dom.heads = {};
	dom.overviewHead = make('div', { class: 'x-head x-first' });
	dom.overview = make('canvas', { class: 'x-overview', role: 'img' });
	dom.flags = make('canvas', { class: 'x-flags', role: 'img' });
	dom.edges = [make('span', { class: 'x-edge' }), make('span', { class: 'x-edge x-right' })];
	dom.tint = make('div', { class: 'x-tint', hidden: true }, ...dom.edges);
	dom.hair = make('div', { class: 'x-hair', hidden: true });
	dom.read = make('div', { class: 'x-read' });
	dom.stack = make('div', { class: 'x-stack' });
	dom.charts = make('div', { class: 'x-charts', tabindex: 0, role: 'group', 'aria-describedby': 'explorer-hint',
		'aria-label': 'Charts of the record: level, flags, flow and difference', onkeydown: keys }, dom.overviewHead, dom.overview, dom.read, dom.stack);
	dom.panel = make('div', { class: 'x-panel' });
	dom.said = make('p', { class: 'x-said', role: 'status' });
	dom.worth = make('div', { class: 'x-list' });
	const side = make('div', { class: 'x-side' }, dom.panel, dom.worth);
	body.replaceChildren(tools(), make('div', { class: 'x-grid' }, dom.charts, side));
	const small = () => phone();
	const padded = (low, high) => { const d = (high - low) * 0.06 || 1; return [low - d, high + d]; };
	dom.stack.append(head('level'), lane('level', () => small() ? 120 : 172, false, levelRange, paintLevel), dom.flags);
	dom.stack.append(head('flow'), lane('flow', () => small() ? 200 : 280, false, () => {
		const [low, high] = reach((x) => Math.min(x.beforeLow, x.afterLow), (x) => Math.max(x.beforeHigh, x.afterHigh));
		return isFinite(low) && flow(high) > Math.min(0, flow(low)) ? [Math.min(0, flow(low)), flow(high) * 1.06] : [0, 1];
	}, paintFlow));
	dom.stack.append(head('difference'), lane('difference', () => small() ? 84 : 132, !facts.counter, () => {
		const [low, high] = reach((x) => flow(x.lostLow), (x) => flow(x.lostHigh));
		return high > low ? padded(Math.min(low, 0), Math.max(high, 0)) : [-1, 1];
	}, paintDifference));
	if (facts.counter) dom.stack.append(head('share'), lane('share', () => small() ? 72 : 96, true, shareRange, paintShare));
	dom.stack.append(dom.tint, dom.hair);
	pointing(dom.stack);
	overviewPointing(dom.overview);
	document.getElementById('explorer-hint').textContent = 'Wheel or + ' + MINUS + ' zooms, arrows move, drag selects, 0 shows all. Times are ' +
		(facts.zone.name === '+00:00' ? 'UTC' : /^[+-]/.test(facts.zone.name) ? 'UTC' + facts.zone.name.replace('-', MINUS) : facts.zone.name) + '.';
	new ResizeObserver(later).observe(dom.charts);
	addEventListener('beforeprint', () => { root.classList.add('x-print'); draw(); });
	addEventListener('afterprint', () => { root.classList.remove('x-print'); draw(); });
	panel();
	worthList();
	draw();
	root.dataset.ready = String(Math.round(performance.now()));
}
if (typeof DecompressionStream === 'undefined') {
	body.replaceChildren(make('p', {}, 'This browser cannot unpack the record (DecompressionStream is missing); the pictures and ' +
		'tables of this page hold all that is reported.'));
	return;
}
unpack().then((bytes) => { data = decode(bytes); build(); }).catch((fault) => {
	body.replaceChildren(make('p', {}, 'The record in this page cannot be read: ' + fault.message + '.'));
	console.error(fault);
});
/* For tests and for whoever wants the numbers: what is in view. */
window.retotalExplorer = { facts, state, show, totals: (a, b) => totals(edgeNear(a), edgeNear(b)), buckets, spanText, tomlTime,
	select: (a, b) => select(edgeNear(a), edgeNear(b)), get data() { return data; }, get view() { return view; } };
})();
