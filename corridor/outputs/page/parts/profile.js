// The profile: ground distance to the right, elevation up, in metres.
const DASHES = [[9, 4], [3, 3], [12, 3, 2, 3], [6, 2], [2, 5], [10, 6]];

class Profile {
  constructor(canvas, page) {
    Object.assign(this, {canvas, page, data: page.data, marks: []});
    canvas.addEventListener("click", e => this.pick(e.offsetX, e.offsetY));
    canvas.addEventListener("mousemove", e => { this.draw(); this.readOut(e.offsetX); });
    canvas.addEventListener("mouseleave", () => this.draw());
  }

  // Spans shown: the chosen one, or all of its section.
  shown() {
    const {line, section} = this.data.spans, s = this.page.span;
    if (this.page.extent === "span") return [s];
    return range(this.page.count).filter(i => line.at(i) === line.at(s) && section.at(i) === section.at(s));
  }

  // Wires, ground and required line as curves in metres, before anything is drawn.
  gather(spans) {
    const origin = this.data.spans.station_m.at(spans[0]), curves = [];
    for (const i of spans) {
      const base = this.data.spans.station_m.at(i) - origin, bold = this.page.shownCase(i), lowest = {};
      for (const row of this.page.wireRows(i)) {
        const name = this.data.wires.case.at(row), points = wirePoints(this.data.wires, row, this.data.spans.length_m.at(i), 40).map(([x, , z]) => [base + x, z]);
        const low = points[20][1], phase = this.data.wires.kind.at(row) !== "shield";
        if (name === bold) curves.push({i, name, points, bold: true, phase, wire: this.data.wires.wire.at(row)});
        else if (phase && !(lowest[name] && lowest[name].low <= low)) lowest[name] = {i, name, points, low};
      }
      curves.push(...Object.values(lowest));
    }
    return {origin, curves};
  }

  groundOf(i, k) {
    const {first, lines} = this.data.ground, a = first.raw[i], n = first.raw[i + 1] - a, length = this.data.spans.length_m.at(i);
    return range(n).map(j => [this.data.spans.station_m.at(i) - this.origin + length * j / (n - 1), lines[k].at(a + j)]);
  }

  draw() {
    const {pen, w, h} = sharp(this.canvas), spans = this.shown(); Object.assign(this, {pen, w, h, spans});
    Object.assign(this, this.gather(spans));
    const p = this.data.spans, last = spans.at(-1);
    this.ground = [0, 1, 2].map(k => spans.flatMap(i => [...this.groundOf(i, k), [NaN, NaN]]));
    this.scales(p.station_m.at(last) + p.length_m.at(last) - this.origin);
    this.grid(); this.drawGround(); this.drawRequired(); this.drawPoles(); this.drawWires(); this.drawObjects(); this.drawMarks();
    document.getElementById("profile-key").innerHTML = this.key();
  }

  scales(length) {
    const heights = [...this.ground.flat(), ...this.curves.flatMap(c => c.points)].map(q => q[1]).filter(isFinite);
    const low = Math.min(...heights), high = Math.max(...heights), widest = Math.max(...this.curves.map(c => this.pen.measureText(c.bold ? `${c.wire}: ${c.name}` : c.name).width)),
      box = {l: 58, r: Math.min(Math.max(60, 1.12 * widest + 18), this.w / 3), t: 16, b: 42};
    const room = Math.max(high - low, 8) * .07;
    this.px = {length, low: low - room, high: high + room, ...box};
    this.sx = (this.w - box.l - box.r) / length; this.sy = (this.h - box.t - box.b) / (high - low + 2 * room);
  }

  x(m) { return this.px.l + m * this.sx; }
  y(m) { return this.h - this.px.b - (m - this.px.low) * this.sy; }
  to(points) { return points.map(([a, b]) => [this.x(a), this.y(b)]); }

  grid() {
    const {pen, px} = this, right = this.w - px.r, bottom = this.h - px.b; pen.textBaseline = "middle";
    for (let s = roundStep(px.high - px.low, 7), v = Math.ceil(px.low / s) * s; v <= px.high; v += s) {
      stroke(pen, [[px.l, this.y(v)], [right, this.y(v)]], "#e8e4da", 1); label(pen, v.toFixed(s < 1 ? 1 : 0), px.l - 6, this.y(v), {align: "right", colour: "#6b6a64"});
    }
    for (let s = roundStep(px.length, 8), v = Math.ceil(this.origin / s) * s; v <= this.origin + px.length + .01; v += s) {
      stroke(pen, [[this.x(v - this.origin), px.t], [this.x(v - this.origin), bottom]], "#f0ede5", 1);
      label(pen, v.toFixed(0), this.x(v - this.origin), bottom + 12, {align: "center", colour: "#6b6a64"});
    }
    label(pen, "station [m]", right, bottom + 29, {align: "right", colour: "#6b6a64"});
    label(pen, `elevation [m], ${(this.sy / this.sx).toFixed(1)} times exaggerated`, px.l, bottom + 29, {colour: "#6b6a64"});
  }

  drawGround() {
    const {pen} = this, bottom = this.h - this.px.b; let run = [];
    const fill = () => {
      if (run.length > 1) { pen.beginPath(); pen.moveTo(run[0][0], bottom); run.forEach(q => pen.lineTo(...q)); pen.lineTo(run.at(-1)[0], bottom); pen.fillStyle = "#e4dfcf"; pen.fill(); }
      run = [];
    };
    for (const q of this.to(this.ground[0])) isFinite(q[1]) ? run.push(q) : fill();
    fill(); this.drawUnknown(bottom);
    stroke(pen, this.to(this.ground[1]), "#9a8f70", 1, [2, 3]); stroke(pen, this.to(this.ground[2]), "#9a8f70", 1, [6, 3]);
    stroke(pen, this.to(this.ground[0]), "#5d5642", 2);
  }

  // Where the ground is not known: barred, and said.
  drawUnknown(bottom) {
    for (const i of this.spans) {
      const gap = this.groundOf(i, 0).filter(q => isNaN(q[1])); if (!gap.length) continue;
      const a = this.x(gap[0][0]), b = Math.max(this.x(gap.at(-1)[0]), a + 3), {pen} = this;
      pen.save(); pen.beginPath(); pen.rect(a, this.px.t, b - a, bottom - this.px.t); pen.clip();
      for (let x = a - 600; x < b; x += 10) stroke(pen, [[x, bottom], [x + 600, bottom - 600]], COLOUR.unknown + "88", 1.5);
      pen.restore(); label(pen, "ground not known", (a + b) / 2, bottom - 12, {align: "center", colour: COLOUR.unknown, bold: true});
    }
  }

  // Ground raised by what the rule for the ground asks for, in the case that is drawn bold.
  drawRequired() {
    for (const i of this.spans) {
      const c = this.data.clearances, row = this.page.clearanceRows(i, this.page.shownCase(i)).find(r => c.against.at(r) === "ground");
      if (row === undefined) continue;
      const raised = range(3).map(k => this.groundOf(i, k)), most = raised[0].map(([x], j) => [x, Math.max(...raised.map(g => g[j][1])) + c.required_m.at(row)]);
      stroke(this.pen, this.to(most), COLOUR.short, 1.4, [7, 4]);
      if (i === this.page.span) label(this.pen, `required ${c.required_m.at(row).toFixed(2)} m`, this.x(most[1][0]) + 8, this.y(most[1][1]) - 9, {colour: COLOUR.short});
    }
  }

  drawPoles() {
    const p = this.data.spans;
    for (const i of this.spans) for (const [end, z, name] of [[0, p.z0, p.from_structure], [1, p.z1, p.to_structure]]) {
      if (end && i !== this.spans.at(-1)) continue;
      const x = p.station_m.at(i) - this.origin + end * p.length_m.at(i);
      const tops = this.curves.filter(c => c.i === i).map(c => c.points.at(end ? -1 : 0)[1]);
      stroke(this.pen, this.to([[x, z.at(i)], [x, Math.max(...tops)]]), "#4a4f53", 3);
      label(this.pen, name.at(i), this.x(x), this.h - this.px.b - 10, {align: end ? "right" : "left", bold: true});
    }
  }

  drawWires() {
    const cases = this.data.names.case, last = this.spans.at(-1);
    for (const c of this.curves.filter(c => !c.bold)) stroke(this.pen, this.to(c.points), "#7c95a5", 1.1, DASHES[cases.indexOf(c.name) % DASHES.length]);
    for (const c of this.curves.filter(c => c.bold)) stroke(this.pen, this.to(c.points), c.phase ? COLOUR.wire : "#7a7f86", c.phase ? 2.2 : 1.4);
    const bold = this.curves.find(c => c.bold && c.i === this.page.span && c.phase);
    if (bold) this.name = bold.name;
    this.labels(this.curves.filter(c => c.i === last && (!c.bold || c.phase)));
  }

  // Names at the right end of the wires, moved apart, with a leader to the wire.
  labels(curves) {
    const rows = curves.map(c => ({text: c.bold ? `${c.wire}: ${c.name}` : c.name, y: this.y(c.points[33][1]), from: this.to([c.points[33]])[0], c})).sort((a, b) => a.y - b.y);
    rows.forEach((r, k) => { r.y = Math.max(r.y, k ? rows[k - 1].y + 14 : this.px.t + 6); });
    for (let k = rows.length - 1, least = this.h - this.px.b - 6; k >= 0; k--) { rows[k].y = Math.min(rows[k].y, least); least = rows[k].y - 14; }
    const x = this.w - this.px.r + 8;
    for (const r of rows) {
      const colour = r.c.bold ? COLOUR.wire : "#5f7787";
      stroke(this.pen, [r.from, [x - 3, r.y]], r.c.bold ? COLOUR.wire + "77" : "#5f778755", .7);
      label(this.pen, r.text, x, r.y, {colour, bold: r.c.bold});
    }
  }

  // What the wire was compared with: its top, and above it what is required.
  drawObjects() {
    const c = this.data.clearances, {pen} = this, taken = [];
    for (const i of this.spans) for (const r of this.page.clearanceRows(i, this.page.shownCase(i))) {
      const kind = c.against.at(r); if (kind === "ground" || kind === "right_of_way") continue;
      const x = this.x(this.data.spans.station_m.at(i) - this.origin + c.distance_from_start_m.at(r)), z = c.other_elevation_m.at(r), y = this.y(z);
      const short = c.margin_m.at(r) < 0, colour = short ? COLOUR.short : "#4f5257";
      if (c.measure.at(r) === "vertical") {
        const up = c.position.at(r) === "below" ? -1 : 1, top = this.y(z + up * c.required_m.at(r));
        stroke(pen, [[x, y], [x, top]], colour, 1.4); stroke(pen, [[x - 5, top], [x + 5, top]], colour, 1.6);
      }
      pen.fillStyle = colour; kind === "tree" ? (pen.beginPath(), pen.moveTo(x, y), pen.lineTo(x - 4, y + 9), pen.lineTo(x + 4, y + 9), pen.fill()) : pen.fillRect(x - 4, y - 2, 8, 4);
      if ((kind !== "tree" || short) && this.spans.length < 4) {
        let at = y + 14; while (taken.some(([a, b]) => Math.abs(a - x) < 70 && Math.abs(b - at) < 12)) at += 13;
        if (at < this.h - this.px.b - 18) { taken.push([x, at]); label(pen, c.obstacle.at(r) || kind, x, at, {align: "center", colour}); }
      }
    }
  }

  drawMarks() {
    const v = this.data.tables.violations, d = this.data.spans; this.marks = [];
    for (const k of this.page.violationRows()) {
      const i = this.page.spanOf(v, k); if (!this.spans.includes(i)) continue;
      if (this.page.case === null && v.case.at(k) !== this.page.shownCase(i)) continue;
      this.marks.push({k, x: this.x(d.station_m.at(i) - this.origin + v.distance_from_start_m.at(k)), y: this.y(v.wire_elevation_m.at(k))});
    }
    for (const m of this.marks) barred(this.pen, m.x, m.y, m.k === this.page.violation ? 7 : 5, m.k === this.page.violation);
    const chosen = this.marks.find(m => m.k === this.page.violation); if (!chosen) return;
    const k = chosen.k, text = `${v.obstacle.at(k) || v.against.at(k)}, ${v.case.at(k)}: ${v.actual_m.at(k).toFixed(2)} m of ${v.required_m.at(k).toFixed(2)} m, ${(-v.margin_m.at(k)).toFixed(2)} m short`;
    const right = chosen.x > this.w / 2; stroke(this.pen, [[chosen.x, chosen.y - 8], [chosen.x, this.px.t + 18]], COLOUR.short, .8);
    label(this.pen, text, chosen.x + (right ? 4 : -4), this.px.t + 8, {align: right ? "right" : "left", colour: COLOUR.short, bold: true});
  }

  // Under the pointer: station, ground, lowest bold wire and what lies between, straight down.
  readOut(px) {
    const m = (px - this.px.l) / this.sx; if (m < 0 || m > this.px.length) return;
    const on = points => { for (let k = 1; k < points.length; k++) if (points[k][0] >= m && points[k - 1][0] <= m) { const [[a, b], [c, d]] = [points[k - 1], points[k]]; return b + (d - b) * (m - a) / (c - a || 1); } return NaN; };
    const ground = on(this.ground[0]), wires = this.curves.filter(c => c.bold && c.phase).map(c => on(c.points)).filter(isFinite), low = Math.min(...wires);
    stroke(this.pen, [[px, this.px.t], [px, this.h - this.px.b]], "#22292e55", 1);
    const say = v => isFinite(v) ? v.toFixed(1) + " m" : "not known";
    label(this.pen, `station ${(m + this.origin).toFixed(0)} m, ground ${say(ground)}, lowest wire ${say(low)}, between ${say(low - ground)}`, this.px.l + 8, this.px.t + (this.page.violation === null ? 8 : 24));
  }

  pick(x, y) {
    const mark = this.marks.map(m => [Math.hypot(m.x - x, m.y - y), m.k]).sort((a, b) => a[0] - b[0])[0];
    if (mark && mark[0] < 11) return this.page.chooseViolation(mark[1], "profile");
    const m = (x - this.px.l) / this.sx, d = this.data.spans;
    const i = this.spans.find(s => m >= d.station_m.at(s) - this.origin && m <= d.station_m.at(s) - this.origin + d.length_m.at(s));
    if (i !== undefined) this.page.chooseSpan(i, "profile");
  }

  key() {
    const bold = this.page.shownCase(this.page.span) ?? "no case";
    return keyOf([[COLOUR.wire, 2.2, [], `wires: ${bold}`], ["#7c95a5", 1.1, [6, 3], "lowest phase wire in the other cases"], ["#5d5642", 2, [], "ground below the line"],
      ["#9a8f70", 1, [2, 3], "below the left"], ["#9a8f70", 1, [6, 3], "and the right outermost wire at rest"], [COLOUR.short, 1.4, [7, 4], "highest of these and the clearance to ground"]]) +
      "A bar on an object is the clearance it requires; a barred ring falls short. Drawn for the eye: the tables hold the numbers.";
  }
}
