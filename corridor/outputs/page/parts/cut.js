// The cross-section at the chosen violation, to one scale both ways: what the findings hold of it, nothing worked out here.
class CutView {
  constructor(plot, page) { Object.assign(this, {plot, page, data: page.data}); plot.onSize(() => this.draw()); }

  // Lines of a cross-section as kinds and places [m].
  linesOf(k) {
    const d = this.data.cuts;
    return range(d.first.raw[k + 1] - d.first.raw[k]).map(j => { const l = d.first.raw[k] + j, a = d.place.raw[l]; return [d.kind.at(l), range(d.place.raw[l + 1] - a).map(i => [d.x.at(a + i), d.z.at(a + i)])]; });
  }

  draw() {
    const row = this.page.violation, k = row === null ? -1 : this.data.cuts.of.raw[row]; this.rows = {earth: [], lines: [], bars: [], marks: [], names: []};
    document.getElementById("cut-title").textContent = k < 0 ? "Cross-section" : `Cross-section at ${this.page.title(this.page.span)}, station ${this.data.tables.violations.station_m.at(row).toFixed(1)} m`;
    document.getElementById("cut-note").textContent = row === null ? "No violation is chosen: choose a ring or a row of one to see its cross-section." : k < 0 ? "This row has no place across the line, or the page keeps no cross-section of it: the page keeps those of the lowest margins." : this.page.says(row);
    document.getElementById("cut-figure").hidden = k < 0;
    if (k < 0 || !(this.plot.width > 10)) return;
    const d = this.data.cuts, two = (c, i) => c.at(2 * k + i), lines = this.linesOf(k);
    this.show(two(d.across, 0), two(d.across, 1), two(d.upward, 0), two(d.upward, 1));
    this.ground(k, two(d.known, 0), two(d.known, 1)); for (const [kind, points] of lines) this.thing(kind, points);
    const wire = [two(d.wire, 0), two(d.wire, 1)]; this.rows.marks.push(mark(wire, "circle", 9, INK, {fill: INK, tip: `wire ${this.data.tables.violations.wire.at(row)}`}));
    this.name(row, wire, lines); for (const [name, rows] of Object.entries(this.rows)) this.plot.fill(name, rows);
    const shown = new Set(lines.map(l => l[0]));
    document.getElementById("cut-key").innerHTML = keyOf([...(this.rows.earth.some(e => Math.max(...e.ys) > this.bottom) ? [["#5d5642", 2, "solid", "ground"]] : []), [COLOUR.short, 5, "solid", "required"], [INK, 1.6, "solid", "what is there"], ...(shown.has("top") || shown.has("stem") ? [["#4f5257", 3, "solid", "the thing, at its own height"]] : []), ...(shown.has("fall") ? [["#4f5257", 1.4, "5 4", "way of its top as it falls"]] : []), ...(shown.has("edge") ? [["#8f8455", 1.4, "9 3 2 3", "edge of the right-of-way"]] : [])]) + "Dot: the wire where it is in violation. Seen towards higher stations, one scale both ways.";
  }

  // All of it, with as many metres to a pixel along as upward.
  show(x0, x1, z0, z1) {
    const {width: w, height: h} = this.plot, step = Math.max((x1 - x0) / w, (z1 - z0) / h), [x, z] = [(x0 + x1) / 2, (z0 + z1) / 2];
    this.plot.show(x - w * step / 2, z - h * step / 2, x + w * step / 2, z + h * step / 2); this.step = step; this.bottom = z - h * step / 2; this.top = z + h * step / 2;
  }

  ground(k, x0, x1) {
    const d = this.data.cuts, n = d.ground.length / (d.known.length / 2); let run = [];
    const close = () => { if (run.length > 1) { this.rows.earth.push({xs: [run[0][0], ...run.map(q => q[0]), run.at(-1)[0]], ys: [this.bottom - 500, ...run.map(q => q[1]), this.bottom - 500], colour: "#e6e0d0", tip: ""}); this.rows.lines.push(line(run, "#5d5642", 2, "solid", "ground")); } run = []; };
    for (const i of range(n)) { const z = d.ground.at(k * n + i); isFinite(z) ? run.push([x0 + (x1 - x0) * i / (n - 1), z]) : close(); }
    close();
  }

  thing(kind, points) {
    const looks = {top: ["#4f5257", 4, "solid"], stem: ["#4f5257", 3, "solid"], fall: ["#4f5257", 1.4, "5 4"], edge: ["#8f8455", 1.4, "9 3 2 3"], required: [COLOUR.short, points.length > 2 ? 3 : 6, "solid"], actual: [INK, 1.6, "solid"]};
    const at = kind === "edge" ? [[points[0][0], this.bottom], [points[0][0], this.top]] : points;
    this.rows.lines.push(line(at, ...looks[kind], kind));
    if (kind === "top" && points[0][0] === points.at(-1)[0]) this.rows.marks.push(mark(points[0], "x", 11, "#4f5257", {width: 3}));
  }

  // Lengths beside their lines: what is there on one side of the wire, what is required on the other.
  name(row, wire, lines) {
    const v = this.data.tables.violations, own = Object.fromEntries(lines), level = v.measure.at(row) === "horizontal", round = v.measure.at(row) === "radial";
    const say = [["actual", INK, `is ${v.actual_m.at(row).toFixed(2)} m` + (round && v.actual_m.at(row) < 0 ? ": reaches past the wire" : "")], ["required", COLOUR.shortText, `required ${v.required_m.at(row).toFixed(2)} m`]];
    say.forEach(([kind, colour, words], k) => {
      const [a, b] = round ? [wire, [wire[0], wire[1] + (k ? -1 : 1) * Math.abs((k ? v.required_m : v.actual_m).at(row))]] : own[kind];
      const at = round ? b : level ? [(a[0] + b[0]) / 2, a[1]] : [a[0], (a[1] + b[1]) / 2];
      this.rows.names.push(text(at, words, {colour, style: "bold", align: round || level ? "center" : k ? "left" : "right", dx: round || level ? 0 : k ? 8 : -8, dy: round ? (k ? 12 : -12) : level ? (k ? 14 : -14) : 0}));
    });
    const clear = round ? Math.max(v.required_m.at(row), v.actual_m.at(row)) / this.step : 0;
    this.rows.names.push(text(wire, `wire ${v.wire.at(row)}`, {dx: 9 + clear, dy: round ? 0 : v.position.at(row) === "below" ? 11 : -11, style: "bold"}));
  }
}
