// Plots below the map: sag over temperature of the chosen span, what worst spans cost, and the calendar of a plan.

// Pens of the options, told apart without colour as well.
const PENS = [["#22292e", "solid"], ["#9a4a12", "9 4"], ["#1f6a96", "3 3"], ["#6a6f75", "12 3 2 3"], ["#5a4a86", "6 2"], ["#2f6f5e", "2 5"]];
const penOf = k => PENS[k % PENS.length];

// Greatest drop of a catenary of constant C below the chord of its ends, S apart and h higher.
function greatestSag(C, S, h) {
  const a = S / (2 * C), b = Math.asinh(h / (2 * C * Math.sinh(a))), k = h / S;
  return C * (Math.cosh(a) * Math.cosh(b) + (Math.asinh(k) - b) * k - Math.sqrt(1 + k * k));
}

class SagPlot {
  constructor(plot, page) { Object.assign(this, {plot, page, data: page.data}); plot.onSize(() => this.draw()); }

  // Ends of the lowest phase wire of the span in the first case that has one: distance and rise.
  wire(i, option) {
    const w = this.data.wires, rows = this.page.of(w.first, i).filter(r => w.kind.at(r) !== "shield" && w.option.at(r) === option);
    const row = rows.reduce((best, r) => best === null || w.z0.at(r) + w.z1.at(r) < w.z0.at(best) + w.z1.at(best) - .005 ? r : best, null);
    return row === null ? null : {name: w.wire.at(row), S: w.x1.at(row) + this.data.spans.length_m.at(i) - w.x0.at(row), h: w.z1.at(row) - w.z0.at(row)};
  }

  draw() {
    const d = this.data.curves, i = this.page.span, p = this.data.spans, options = this.data.names.option;
    const section = range(d.section.length).find(s => d.line.at(s) === p.line.at(i) && d.section.at(s) === p.section.at(i));
    this.rows = {lines: [], bars: [], marks: [], names: []}; this.ends = []; this.section = section;
    if (section !== undefined) options.forEach((name, o) => this.option(name, o, i));
    const T = this.rows.lines.flatMap(l => l.xs), sag = [...this.rows.lines.flatMap(l => l.ys), ...this.rows.marks.map(m => m.y)].filter(isFinite);
    const [t0, t1, s0, s1] = sag.length ? [Math.min(...T), Math.max(...T), Math.min(...sag), Math.max(...sag)] : [0, 100, 0, 1], room = .07 * (s1 - s0) + .05;
    const share = Math.min(this.plot.width < 420 ? .55 : .3, (7.6 * Math.max(...options.map(o => o.length)) + 20) / this.plot.width);
    this.plot.show(t0 - .02 * (t1 - t0), s0 - room, t1 + share / (1 - share) * (t1 - t0), s1 + room); this.name();
    for (const [name, rows] of Object.entries(this.rows)) this.plot.fill(name, rows);
    const wire = this.wire(i, this.page.option);
    document.getElementById("sag-title").textContent = `Sag over temperature, span ${this.page.title(i)}` + (wire ? `, wire ${wire.name}` : "");
  }

  // A mix is drawn as the option that hangs in the section.
  option(name, k, i) {
    const d = this.data.curves, wire = this.wire(i, name), [colour, dash] = penOf(k), chosen = name === this.page.option; if (!wire) return;
    const o = d.hangs.at(this.section * this.data.names.option.length + k), n = d.temperature[o].length, at = s => this.section * n + s, count = d.temperature.length, own = this.section * count + o;
    const points = range(n).map(s => [d.temperature[o].at(s), greatestSag(d.constant[o].at(at(s)), wire.S, wire.h)]);
    const T = d.knee.at(own), knee = [T, greatestSag(d.knee_constant.at(own), wire.S, wire.h)], last = points.at(-1);
    const within = isFinite(knee[1]) && T > points[0][0] && T < last[0], whole = within ? [...points, knee].sort((a, b) => a[0] - b[0]) : points;
    if (!whole.some(q => isFinite(q[1]))) return;
    this.rows.lines.push(line(whole, colour, chosen ? 3 : 1.6, dash, name)); this.ends.push({name, at: last, colour, chosen});
    if (within) {
      this.rows.bars.push(bar([Math.max(d.knee_low.at(own), points[0][0]), knee[1]], [Math.min(d.knee_high.at(own), last[0]), knee[1]], colour, 1.2));
      this.rows.marks.push(mark(knee, "diamond", 13, colour, {width: 2, tip: `${name}: knee at ${T.toFixed(0)} °C, ${d.knee_low.at(own).toFixed(0)} to ${d.knee_high.at(own).toFixed(0)} °C within the band of compression`}));
    }
    this.limit(name, whole, colour, i); this.findings(name, o, i, wire.name, colour);
  }

  // How hot the span lets the option get, as an upright bar on its curve.
  limit(name, points, colour, i) {
    const t = this.data.tables.limits, row = this.page.limitRow(i, name); if (row === undefined) return;
    const T = t.limit_temperature_c.at(row), k = points.findIndex(q => q[0] >= T); if (!(k > 0)) return;
    const [a, b] = [points[k - 1], points[k]], sag = a[1] + (b[1] - a[1]) * (T - a[0]) / (b[0] - a[0]), short = T < t.maximum_temperature_c.at(row) - .05;
    this.rows.marks.push(mark([T, sag], "dash", 20, short ? COLOUR.short : colour, {angle: Math.PI / 2, width: 4, tip: `${name}: clears up to ${T.toFixed(1)} °C (${t.governs.at(row)})`}));
  }

  // What the findings hold of the same wire, bare, final and in still air: exact, where the curve is that of the section.
  findings(name, o, i, wire, colour) {
    const w = this.data.wires;
    for (const row of this.page.of(w.first, i)) if (w.option.at(row) === name && w.wire.at(row) === wire) {
      const found = this.data.curves.bare[o].find(([label]) => label === w.case.at(row));
      if (found) this.rows.marks.push(mark([found[1], w.sag_m.at(row)], "circle", 7, colour, {fill: colour, tip: `${name}, ${found[0]}: ${w.sag_m.at(row).toFixed(2)} m in the findings`}));
    }
  }

  name() {
    const [, dy] = this.plot.pixel, [dx] = this.plot.pixel, given = spread(this.ends.map(e => -e.at[1] / dy), 15, -1e9, 1e9);
    this.ends.forEach((e, k) => this.rows.names.push(text([e.at[0] + 8 * dx, -given[k] * dy], e.name, {colour: e.colour, style: e.chosen ? "bold" : "normal"})));
  }
}

class LadderPlot {
  constructor(plot, page) { Object.assign(this, {plot, page, data: page.data}); plot.onSize(() => this.draw()); this.draw(); }

  draw() {
    const t = this.data.tables.ladder, keys = {}, several = this.data.spans.line.texts.length > 1;
    for (let i = 0; i < rowsOf(t); i++) (keys[`${t.option.at(i)}${several ? `, ${t.line.at(i)}` : ""}`] ||= {option: t.option.at(i), steps: []}).steps.push(i);
    const groups = Object.entries(keys).filter(([, g]) => g.steps.some(i => isFinite(t.limit_current_a.at(i)))).slice(0, 24);
    const current = groups.flatMap(([, g]) => g.steps.map(i => t.limit_current_a.at(i))).filter(isFinite), rows = {lines: [], marks: [], names: []};
    const most = Math.max(1, ...groups.flatMap(([, g]) => g.steps.map(i => t.spans_fixed.at(i))));
    document.getElementById("ladder-note").textContent = current.length ? "" : "No currents: the study has no weather to rate them in, or nothing was assessed.";
    const [low, high] = current.length ? [Math.min(...current), Math.max(...current)] : [0, 1], room = .08 * (high - low) + 1;
    const share = Math.min(this.plot.width < 420 ? .55 : .4, (7.6 * Math.max(6, ...groups.map(([name]) => name.length)) + 20) / this.plot.width);
    this.plot.show(-.02 * most, low - room, most * 1.01 + share / (1 - share) * most, high + room);
    const [dx, dy] = this.plot.pixel, ends = [];
    for (const [name, g] of groups) {
      const k = this.data.names.option.indexOf(g.option), [colour, dash] = penOf(k), chosen = g.option === this.page.option;
      const steps = g.steps.map(i => [t.spans_fixed.at(i), t.limit_current_a.at(i)]), stairs = steps.flatMap(([a, b], j) => [[a, b], [j + 1 < steps.length ? steps[j + 1][0] : most, b]]);
      rows.lines.push(line(stairs, colour, chosen ? 3 : 1.6, dash, name)); ends.push({name, y: steps.at(-1)[1], colour, chosen});
      for (const i of g.steps) if (isFinite(t.limit_current_a.at(i))) rows.marks.push(mark([t.spans_fixed.at(i), t.limit_current_a.at(i)], "circle", chosen ? 7 : 4, colour, {fill: colour, tip: `${name}: ${t.limit_current_a.at(i).toFixed(0)} A` + (t.fixed_span.at(i) ? ` with ${t.fixed_span.at(i)} remedied` : " as it is") + (t.limiting_span.at(i) ? `; ${t.limiting_span.at(i)} sets it` : "")}));
    }
    const named = ends.filter(e => isFinite(e.y)), given = spread(named.map(e => -e.y / dy), 15, -1e9, 1e9);
    named.forEach((e, k) => rows.names.push(text([most + 10 * dx, -given[k] * dy], e.name, {colour: e.colour, style: e.chosen ? "bold" : "normal"})));
    for (const [name, list] of Object.entries(rows)) this.plot.fill(name, list);
  }
}

// Work items as bars, outage after outage; a bar's hatch and number tell its outage without colour, and its day stands beside where it is known.
class Calendar {
  constructor(plot, page) {
    const items = page.workItems().filter(w => isFinite(w.start)).sort((a, b) => a.outage - b.outage || a.start - b.start), narrow = plot.width < 420;
    document.getElementById("calendar-figure").hidden = !items.length; if (!items.length) return;
    const short = w => narrow && w.item.length > 22 ? `${w.item.slice(0, 21)}\u2026` : w.item, says = w => `${narrow ? "" : "outage "}${w.outage}${w.day && !narrow ? `, ${w.day.slice(0, 10)}` : ""}`;
    const named = items.map((w, k) => `${short(w)}${items.findIndex(v => short(v) === short(w)) < k ? ` (${k + 1})` : ""}`);
    plot.figure.y_range.factors = [...named].reverse(); plot.figure.height = 70 + 26 * Math.max(2, Math.min(items.length, 60));
    const end = Math.max(1, ...items.map(w => w.end)), room = Math.min(.6, 8 * Math.max(...items.map(w => says(w).length)) / Math.max(120, plot.width)), most = end / (1 - room);
    plot.figure.x_range.setv({start: 0, end: most, reset_start: 0, reset_end: most});
    plot.fill("bars", items.map((w, k) => { const [colour, hatch] = groupOf(w.outage); return {item: named[k], left: w.start, right: w.end, height: .62, colour, hatch, ink: "#ffffff", tip: `outage ${w.outage}, ${w.hours.toFixed(1)} h${w.day ? `, from ${w.day}` : ""}; out: ${w.out || "nothing"}`}; }));
    plot.fill("names", items.map((w, k) => ({...text([w.end, 0], says(w), {dx: 6, colour: groupOf(w.outage)[0], style: "bold"}), item: named[k]})));
  }
}
