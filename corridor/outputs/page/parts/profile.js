// The profile: station to the right, elevation up, in metres.
class Profile {
  constructor(plot, page) {
    Object.assign(this, {plot, page, data: page.data, marks: []});
    plot.on("tap", e => this.pick(e.x, e.y)); plot.on("mousemove", e => this.readOut(e.x));
    plot.onSize(() => this.draw()); plot.onSettled(() => this.sayScale());
  }

  // Spans shown: the chosen one, or all of its section.
  shown() {
    const {line, section} = this.data.spans, s = this.page.span;
    if (this.page.extent === "span") return [s];
    return range(this.page.count).filter(i => line.at(i) === line.at(s) && section.at(i) === section.at(s));
  }

  // Wires as curves in metres: all of the case that is drawn bold, the lowest phase wire of the others.
  gather() {
    this.curves = [];
    for (const i of this.spans) {
      const base = this.data.spans.station_m.at(i), shown = this.page.shownCase(i), lowest = {};
      for (const row of this.page.wireRows(i)) {
        const name = this.data.wires.case.at(row), points = wirePoints(this.data.wires, row, this.data.spans.length_m.at(i), 40).map(([x, , z]) => [base + x, z]);
        const low = points[20][1], phase = this.data.wires.kind.at(row) !== "shield";
        if (name === shown) this.curves.push({i, name, points, bold: true, phase, wire: this.data.wires.wire.at(row)});
        else if (phase && !(lowest[name] && lowest[name].low <= low)) lowest[name] = {i, name, points, low};
      }
      this.curves.push(...Object.values(lowest));
    }
  }

  groundOf(i, k) {
    const {first, lines} = this.data.ground, a = first.raw[i], n = first.raw[i + 1] - a, length = this.data.spans.length_m.at(i);
    return range(n).map(j => [this.data.spans.station_m.at(i) + length * j / (n - 1), lines[k].at(a + j)]);
  }

  draw() {
    this.spans = this.shown(); this.gather();
    this.ground = [0, 1, 2].map(k => this.spans.flatMap(i => [...this.groundOf(i, k), [NaN, NaN]]));
    this.scales(); this.rows = {lines: [], bars: [], marks: [], names: [], rings: [], strokes: []};
    this.drawGround(); this.drawRequired(); this.drawPoles(); this.drawWires(); this.drawObjects(); this.drawRings(); this.nameCases();
    for (const [name, rows] of Object.entries(this.rows)) this.plot.fill(name, rows);
    document.getElementById("profile-key").innerHTML = this.key(); this.sayScale(); this.readOut(NaN);
  }

  // Bounds, with room to the right for the names of the wires.
  scales() {
    const p = this.data.spans, last = this.spans.at(-1), heights = [...this.ground.flat(), ...this.curves.flatMap(c => c.points)].map(q => q[1]).filter(isFinite);
    const [low, high] = heights.length ? [Math.min(...heights), Math.max(...heights)] : [0, 10], room = Math.max(high - low, 8) * .1;
    this.from = p.station_m.at(this.spans[0]); this.to = p.station_m.at(last) + p.length_m.at(last);
    const letters = Math.max(6, ...this.curves.map(c => this.nameOf(c).length)), share = Math.min(this.plot.width < 420 ? .5 : .33, (7.8 * letters + 30) / this.plot.width), length = this.to - this.from;
    this.low = low - room;
    this.plot.show(this.from - .012 * length, this.low, this.to + share / (1 - share) * length, high + 1.2 * room);
    [this.dx, this.dy] = this.plot.pixel;
  }

  sayScale() { const [a, b] = this.plot.pixel; this.plot.label("y", `elevation [m], ${(a / b).toFixed(1)} times exaggerated`); }
  nameOf(c) { return c.bold ? `${c.wire}: ${c.name}` : c.name; }

  drawGround() {
    const earth = [], unknown = []; let run = [];
    const close = () => { if (run.length > 1) earth.push({xs: [run[0][0], ...run.map(q => q[0]), run.at(-1)[0]], ys: [this.low - 500, ...run.map(q => q[1]), this.low - 500], colour: "#e6e0d0", tip: ""}); run = []; };
    for (const q of this.ground[0]) isFinite(q[1]) ? run.push(q) : close();
    close();
    for (const i of this.spans) {
      const gap = this.groundOf(i, 0).filter(q => isNaN(q[1])); if (!gap.length) continue;
      const a = gap[0][0], b = Math.max(gap.at(-1)[0], a + 3 * this.dx);
      unknown.push({left: a, right: b, bottom: this.low - 500, top: this.low + 5000, colour: COLOUR.unknown, alpha: .65, scale: 11, tip: ""});
      this.rows.names.push(text([(a + b) / 2, this.low], "ground not known", {colour: "#8a4f77", align: "center", dy: -34, style: "bold"}));
    }
    this.plot.fill("earth", earth); this.plot.fill("unknown", unknown);
    this.rows.lines.push(line(this.ground[1], "#8d8160", 1.2, "2 3"), line(this.ground[2], "#8d8160", 1.2, "6 3"), line(this.ground[0], "#5d5642", 2, "solid", "ground below the line"));
  }

  // Ground raised by what the rule for the ground asks for, in the case that is drawn bold.
  drawRequired() {
    const c = this.data.clearances;
    for (const i of this.spans) {
      if (this.data.windy.includes(this.page.shownCase(i))) continue;      // blown aside, the wire is over other ground
      const row = this.page.clearanceRows(i, this.page.shownCase(i)).find(r => c.against.at(r) === "ground" && c.measure.at(r) === "vertical");
      if (row === undefined) continue;
      const raised = range(3).map(k => this.groundOf(i, k)), most = raised[0].map(([x], j) => [x, Math.max(...raised.map(g => g[j][1])) + c.required_m.at(row)]);
      this.rows.lines.push(line(most, COLOUR.short, 1.6, "7 4", `ground and the required ${c.required_m.at(row).toFixed(2)} m`));
      const from = most.find(q => isFinite(q[1]));
      if (i === this.page.span && from) this.rows.names.push(text(from, `required ${c.required_m.at(row).toFixed(2)} m`, {colour: COLOUR.shortText, dx: 10, dy: -11}));
    }
  }

  drawPoles() {
    const p = this.data.spans;
    for (const i of this.spans) for (const [end, z, name] of [[0, p.z0, p.from_structure], [1, p.z1, p.to_structure]]) {
      if (end && i !== this.spans.at(-1)) continue;
      const x = p.station_m.at(i) + end * p.length_m.at(i), tops = this.curves.filter(c => c.i === i).map(c => c.points.at(end ? -1 : 0)[1]);
      if (tops.length) this.rows.bars.push(bar([x, z.at(i)], [x, Math.max(...tops)], "#4a4f53", 3));
      this.rows.names.push(text([x, this.low], name.at(i), {align: end ? "right" : "left", dx: end ? -6 : 6, dy: -12, style: "bold"}));
    }
  }

  drawWires() {
    const cases = this.data.names.case, last = this.spans.at(-1);
    for (const c of this.curves) this.rows.lines.push(c.bold ? line(c.points, c.phase ? COLOUR.wire : "#7a7f86", c.phase ? 2.4 : 1.4, "solid", this.nameOf(c))
      : line(c.points, "#7c95a5", 1.2, DASHES[cases.indexOf(c.name) % DASHES.length], `lowest phase wire: ${c.name}`));
    const named = this.curves.filter(c => c.i === last && (!c.bold || c.phase)), wanted = named.map(c => -c.points[34][1] / this.dy);
    const given = spread(wanted, 15, -1e9, -(this.low / this.dy) - 14);
    named.forEach((c, k) => {
      const at = [this.to + 16 * this.dx, -given[k] * this.dy], colour = c.bold ? COLOUR.wire : "#56707f";
      this.rows.bars.push(bar(c.points[34], [this.to + 12 * this.dx, at[1]], c.bold ? COLOUR.wire + "66" : "#5f778555", .8));
      this.rows.names.push(text(at, this.nameOf(c), {colour, style: c.bold ? "bold" : "normal"}));
    });
  }

  // What the wire was compared with: its top, and above it what is required. What stands beside is as high as it is.
  drawObjects() {
    const c = this.data.clearances, taken = [];
    for (const i of this.spans) for (const r of this.page.clearanceRows(i, this.page.shownCase(i))) {
      const kind = c.against.at(r), x = this.data.spans.station_m.at(i) + c.distance_from_start_m.at(r), short = c.margin_m.at(r) < 0;
      const upright = c.measure.at(r) === "vertical", [foot, z] = this.heights(i, r), blown = this.data.windy.includes(this.page.shownCase(i));
      if (kind === "right_of_way" || !isFinite(z) || (kind === "ground" && !(upright && (short || blown)))) continue;
      const colour = short ? COLOUR.short : "#4f5257", name = c.obstacle.at(r) || kind;
      if (upright) {
        const top = z + (c.position.at(r) === "below" ? -1 : 1) * c.required_m.at(r);
        this.rows.bars.push(bar([x, z], [x, top], colour, 1.6), bar([x - 6 * this.dx, top], [x + 6 * this.dx, top], colour, 1.8));
      } else if (isFinite(foot)) this.rows.bars.push(bar([x, foot], [x, z], colour, 2.4));
      const tip = `${name} (${kind}), ${c.measure.at(r)}: margin ${c.margin_m.at(r).toFixed(2)} m of ${c.required_m.at(r).toFixed(2)} m`;
      if (kind === "ground") this.rows.bars.push(bar([x - 14 * this.dx, z], [x + 14 * this.dx, z], "#5d5642", 4));
      else this.rows.marks.push(mark([x, z], kind === "tree" ? "triangle" : "square", kind === "tree" ? 10 : 8, colour, {fill: colour, tip}));
      if ((kind === "tree" && !short) || this.spans.length > 3) continue;
      const side = c.offset_m.at(r), words = kind === "ground" ? `ground ${Math.abs(side).toFixed(1)} m ${side < 0 ? "left" : "right"} of the line` : name;
      let down = 16; const y = (z - this.low) / this.dy;
      while (taken.some(([a, b]) => Math.abs(a - x) < 90 * this.dx && Math.abs(b - (y - down)) < 13)) down += 14;
      if (y - down > 24) { taken.push([x, y - down]); this.rows.names.push(text([this.within(x, words), z], words, {align: "center", colour: short ? COLOUR.shortText : colour, dy: down})); }
    }
  }

  // Where the middle of words goes, so that they are whole.
  within(x, words) { const half = 3.9 * words.length * this.dx, start = this.from, end = Math.max(this.to, start + 2 * half); return Math.max(start + half, Math.min(end - half, x)); }

  // Foot and top of what a row was compared with [m]: of what stands at a point its own, not the height at which it was looked at.
  heights(i, r) {
    const c = this.data.clearances, s = this.data.shapes, name = c.obstacle.at(r), top = c.other_elevation_m.at(r);
    if (c.measure.at(r) === "vertical" || name === null) return [NaN, top];
    this.standing ||= range(s.kind.length).reduce((m, k) => s.kind.raw[k] ? m : m.set(s.name.at(k), [...(m.get(s.name.at(k)) || []), k]), new Map());
    const at = this.page.map.place(i, c.distance_from_start_m.at(r), c.offset_m.at(r)), away = k => Math.hypot(s.origin[0] + s.e.at(s.place.raw[s.piece.raw[k]]) - at[0], s.origin[1] + s.n.at(s.place.raw[s.piece.raw[k]]) - at[1]);
    const own = (this.standing.get(name) || []).sort((a, b) => away(a) - away(b))[0];
    return own === undefined ? [NaN, top] : [s.foot.at(own), s.top.at(own)];
  }

  drawRings() {
    const v = this.data.tables.violations, d = this.data.spans; this.marks = [];
    for (const k of this.page.violationRows()) {
      const i = this.page.spanOf(v, k); if (!this.spans.includes(i)) continue;
      if (this.page.case === null && v.case.at(k) !== this.page.shownCase(i)) continue;
      this.marks.push({k, at: [d.station_m.at(i) + v.distance_from_start_m.at(k), v.wire_elevation_m.at(k)]});
    }
    // Beside a wire, or blown: a dotted line and a dot where the wire is then. A ring at a still wire would lie.
    const [, low] = [0, this.plot.figure.y_range.start], high = this.plot.figure.y_range.end, aside = this.marks.filter(m => this.isAside(m.k));
    this.marks.forEach(m => m.aside = aside.includes(m));
    for (const m of aside) {
      this.rows.bars.push(bar([m.at[0], low], [m.at[0], high], COLOUR.short, m.k === this.page.violation ? 1.6 : .8, "2 4"));
      this.rows.rings.push(mark(m.at, "circle", m.k === this.page.violation ? 12 : 8, COLOUR.short, {fill: m.k === this.page.violation ? HOLD : COLOUR.short, width: 2, tip: `${this.page.says(m.k)}: see the cross-section`}));
    }
    for (const m of this.marks.filter(m => !m.aside).sort((a, b) => (a.k === this.page.violation) - (b.k === this.page.violation))) {
      const [ring, stroke] = barred(m.at, m.k === this.page.violation, this.page.says(m.k)); this.rows.rings.push(ring); this.rows.strokes.push(stroke);
    }
    const chosen = this.marks.find(m => m.k === this.page.violation); if (!chosen) return;
    const range = this.plot.figure.x_range, top = this.plot.figure.y_range.end - 14 * this.dy, says = this.page.says(chosen.k), wide = 7.6 * says.length * this.dx;
    if (wide > range.end - range.start) return;      // the cross-section says it, too
    const fits = chosen.at[0] + wide < range.end ? "left" : chosen.at[0] - wide > range.start ? "right" : "center", at = fits === "center" ? (range.start + range.end) / 2 : chosen.at[0];
    this.rows.bars.push(bar([chosen.at[0], chosen.at[1] + 9 * this.dy], [chosen.at[0], top - 8 * this.dy], COLOUR.short, 1));
    this.rows.names.push(text([at, top], says, {align: fits, dx: {left: -5, right: 5, center: 0}[fits], colour: COLOUR.shortText, style: "bold"}));
  }

  // Whether a profile of still wires does not show a violation as it is.
  isAside(k) { const v = this.data.tables.violations; return v.measure.at(k) !== "vertical" || this.data.windy.includes(v.case.at(k)); }

  // Under the pointer: station, ground, lowest bold wire and what lies between, straight down.
  readOut(m) {
    const place = document.getElementById("read"); place.textContent = "Point at the profile to read it.";
    if (!(m >= this.from && m <= this.to)) return;
    const on = points => { for (let k = 1; k < points.length; k++) if (points[k][0] >= m && points[k - 1][0] <= m) { const [[a, b], [c, d]] = [points[k - 1], points[k]]; return b + (d - b) * (m - a) / (c - a || 1); } return NaN; };
    const ground = on(this.ground[0]), wires = this.curves.filter(c => c.bold && c.phase).map(c => on(c.points)).filter(isFinite), low = wires.length ? Math.min(...wires) : NaN;
    const say = v => isFinite(v) ? v.toFixed(1) + " m" : "not known";
    place.textContent = `Station ${m.toFixed(0)} m: ground ${say(ground)}, lowest wire ${say(low)}, between ${say(low - ground)}.`;
  }

  pick(x, y) {
    const [dx, dy] = this.plot.pixel, near = this.marks.map(m => [Math.hypot((m.at[0] - x) / dx, (m.at[1] - y) / dy), m.k]).sort((a, b) => a[0] - b[0])[0];
    if (near && near[0] < 11) return this.page.chooseViolation(near[1], "profile");
    const d = this.data.spans, i = this.spans.find(s => x >= d.station_m.at(s) && x <= d.station_m.at(s) + d.length_m.at(s));
    if (i !== undefined) this.page.chooseSpan(i, "profile");
  }

  key() {
    const shown = [...new Set(this.spans.map(i => this.page.shownCase(i) ?? "no case"))], still = this.spans.some(i => !this.data.windy.includes(this.page.shownCase(i)));
    const aside = this.marks.some(m => m.aside), things = this.rows.marks.length > 0;
    return keyOf([[COLOUR.wire, 2.4, "solid", shown.length > 1 ? "wires: in each span the case that is named above it" : `wires: ${shown[0]}`], ["#7c95a5", 1.2, "6 3", "lowest phase wire in the other cases, named at the last span"], ["#5d5642", 2, "solid", "ground below the line"],
      ["#8d8160", 1.2, "2 3", "below the left"], ["#8d8160", 1.2, "6 3", "and the right outermost wire at rest"], ...(still ? [[COLOUR.short, 1.6, "7 4", "highest of these and the clearance to ground"]] : []),
      ...(aside ? [[COLOUR.short, 1.6, "2 4", "dot: a wire that is blown or has something beside it; the cross-section shows it"]] : [])]) +
      (things ? "Square: what is crossed; triangle: top of a tree, on its stem where it stands beside. " : "") + "An upright bar is the clearance that is required there; a barred ring is a violation. Drawn for the eye: the tables hold the numbers.";
  }

  // In a section each span is drawn in a case of its own: its name stands above it.
  nameCases() {
    if (this.spans.length < 2 || this.page.case !== null) return;
    const p = this.data.spans, top = this.plot.figure.y_range.end;
    for (const i of this.spans) this.rows.names.push(text([p.station_m.at(i) + p.length_m.at(i) / 2, top], this.page.shownCase(i) ?? "no case", {align: "center", dy: 12, colour: COLOUR.wire, style: "bold"}));
  }
}
