// The map: easting to the right, northing up, in the grid of the findings.
class CorridorMap {
  constructor(canvas, page) {
    Object.assign(this, {canvas, page, data: page.data, view: {e: 0, n: 0, scale: 1}});
    this.tiles = this.makeTiles(); this.listen();
  }

  // Ground: light and height become one warm grey; unknown stays paper.
  makeTiles() {
    const {cell, west, north, light, height} = this.data.tiles, side = 64;
    return range(west.length).map(i => {
      const canvas = Object.assign(document.createElement("canvas"), {width: side, height: side});
      const pen = canvas.getContext("2d"), image = pen.createImageData(side, side);
      for (let k = 0; k < side * side; k++) {
        const l = light.raw[i * side * side + k], h = height.raw[i * side * side + k] / 255;
        if (!l) continue;
        const b = .60 + .46 * (l / 255);
        image.data.set([Math.min(255, (206 + 36 * h) * b), Math.min(255, (214 + 20 * h) * b), Math.min(255, (190 + 28 * h) * b), 255], 4 * k);
      }
      pen.putImageData(image, 0, 0);
      return {e: west.at(i), n: north.at(i), size: side * cell, canvas};
    });
  }

  x(e) { return this.w / 2 + (e - this.view.e) * this.view.scale; }
  y(n) { return this.h / 2 - (n - this.view.n) * this.view.scale; }

  fit(rows, room = 1.15) {
    const {e0, n0, e1, n1} = this.data.spans; let box = [Infinity, Infinity, -Infinity, -Infinity];
    for (const i of rows) for (const [e, n] of [[e0.at(i), n0.at(i)], [e1.at(i), n1.at(i)]])
      box = [Math.min(box[0], e), Math.min(box[1], n), Math.max(box[2], e), Math.max(box[3], n)];
    const [w, h] = [this.canvas.clientWidth, this.canvas.clientHeight];
    this.view = {e: (box[0] + box[2]) / 2, n: (box[1] + box[3]) / 2,
      scale: Math.min(w / Math.max(box[2] - box[0], 60) / room, h / Math.max(box[3] - box[1], 60) / room, 8)};
  }

  draw() {
    const {pen, w, h} = sharp(this.canvas); Object.assign(this, {w, h});
    pen.fillStyle = "#f4f2ec"; pen.fillRect(0, 0, w, h);
    const s = this.view.scale;
    for (const t of this.tiles) {
      const x = this.x(t.e), y = this.y(t.n), size = t.size * s;
      if (x < w && y < h && x + size > 0 && y + size > 0) pen.drawImage(t.canvas, Math.floor(x), Math.floor(y), Math.ceil(size + .5), Math.ceil(size + .5));
    }
    this.drawShapes(pen); this.drawWay(pen); this.drawSpans(pen); this.drawWires(pen); this.drawStructures(pen);
    this.drawMarks(pen); this.drawFrame(pen);
  }

  visible(i, room = 60) {
    const {e0, n0, e1, n1} = this.data.spans;
    const [a, b, c, d] = [this.x(e0.at(i)), this.y(n0.at(i)), this.x(e1.at(i)), this.y(n1.at(i))];
    return Math.max(a, c) > -room && Math.min(a, c) < this.w + room && Math.max(b, d) > -room && Math.min(b, d) < this.h + room;
  }

  drawShapes(pen) {
    const d = this.data.shapes, s = this.view.scale; if (s < .02) return;
    const looks = {road: "#8d8778", rail: "#4c4a45", water: "#7fa9c4", building: "#6d5f52", line: "#8a6fae", tree: "#6f8f63", right_of_way: "#9a8f5c"};
    for (let i = 0; i < d.kind.length; i++) {
      const look = looks[d.category.at(i)] || "#77736a", a = d.first.raw[i], b = d.first.raw[i + 1], r = d.radius.at(i) || 0;
      const points = [];
      for (let k = a; k < b; k++) points.push([this.x(d.origin[0] + d.e.at(k)), this.y(d.origin[1] + d.n.at(k))]);
      if (points.every(([x]) => x < -50 || x > this.w + 50) && d.kind.raw[i] === 0) continue;
      if (d.kind.raw[i] === 0) {
        if (s < .08) continue;
        pen.beginPath(); pen.arc(...points[0], Math.max(1, r * s), 0, 7); pen.fillStyle = look + "99"; pen.fill();
      } else if (d.kind.raw[i] === 2) {
        stroke(pen, points, look, 1.2); if (d.category.at(i) !== "right_of_way") { pen.fillStyle = look + "88"; pen.fill(); }
      } else stroke(pen, points, look, Math.max(1.2, Math.min(2 * r * s, 40)), d.category.at(i) === "rail" ? [8, 3] : d.category.at(i) === "line" ? [10, 3, 2, 3] : []);
    }
  }

  // Both edges of the strip about the line.
  drawWay(pen) {
    const half = this.data.half_width; if (!half || half * this.view.scale < 3) return;
    for (let i = 0; i < this.page.count; i++) if (this.visible(i)) for (const side of [-half, half])
      stroke(pen, [0, 1].map(t => this.place(i, t * this.data.spans.length_m.at(i), side)), "#8f8455", 1, [6, 4]);
  }

  // Place along and right of a span, on the canvas.
  place(i, along, right) {
    const p = this.data.spans, length = p.length_m.at(i), [e0, n0] = [p.e0.at(i), p.n0.at(i)];
    const [u, v] = [(p.e1.at(i) - e0) / length, (p.n1.at(i) - n0) / length];
    return [this.x(e0 + along * u + right * v), this.y(n0 + along * v - right * u)];
  }

  drawSpans(pen) {
    const order = ["neutral", "clear", "near", "unknown", "short"];
    const by = Object.fromEntries(order.map(name => [name, []]));
    for (let i = 0; i < this.page.count; i++) if (this.visible(i)) by[this.page.standing[i]].push(i);
    if (this.visible(this.page.span)) stroke(pen, this.ends(this.page.span), "#ffd95e", 13);
    for (const name of order) {
      const [, , full, dash] = CLASSES.find(c => c[0] === name), width = this.view.scale < .012 ? Math.max(1.2, full / 2) : full;
      for (const i of by[name]) stroke(pen, this.ends(i), COLOUR[name], width, dash);
    }
  }

  ends(i) { const p = this.data.spans; return [[this.x(p.e0.at(i)), this.y(p.n0.at(i))], [this.x(p.e1.at(i)), this.y(p.n1.at(i))]]; }

  drawWires(pen) {
    if (this.view.scale < .35) return;
    for (let i = 0; i < this.page.count; i++) if (this.visible(i)) for (const row of this.page.wireRows(i)) {
      if (this.data.wires.case.at(row) !== this.page.shownCase(i)) continue;
      const points = wirePoints(this.data.wires, row, this.data.spans.length_m.at(i), 12);
      stroke(pen, points.map(([x, o]) => this.place(i, x, o)), COLOUR.wire, 1);
    }
  }

  drawStructures(pen) {
    const d = this.data.structures, s = this.view.scale;
    for (let i = 0; i < d.easting.length; i++) {
      const strain = d.role.at(i) !== "suspension"; if (!strain && s < .012) continue;
      const x = this.x(d.easting.at(i)), y = this.y(d.northing.at(i)); if (x < -20 || y < -20 || x > this.w + 20 || y > this.h + 20) continue;
      const r = s < .03 ? 2 : strain ? 4.5 : 3.5; pen.beginPath();
      strain ? pen.rect(x - r, y - r, 2 * r, 2 * r) : pen.arc(x, y, r, 0, 7);
      pen.fillStyle = strain ? "#33383c" : "#fff"; pen.fill(); pen.strokeStyle = "#33383c"; pen.lineWidth = 1.3; pen.setLineDash([]); pen.stroke();
      if (s > .09 || (strain && s > .03)) label(pen, d.structure.at(i), x + 8, y + 12);
    }
  }

  drawMarks(pen) {
    const v = this.data.tables.violations; this.marks = [];
    for (const i of this.page.violationRows()) {
      const x = this.x(v.easting.at(i)), y = this.y(v.northing.at(i));
      if (x < 0 || y < 0 || x > this.w || y > this.h) continue;
      this.marks.push({x, y, i}); if (i !== this.page.violation) this.view.scale > .012 ? barred(pen, x, y, 5, false) : this.dot(pen, x, y);
    }
    const chosen = this.marks.find(m => m.i === this.page.violation); if (chosen) barred(pen, chosen.x, chosen.y, 7, true);
  }

  // From afar rings would hide the line: a short upright bar stands for each.
  dot(pen, x, y) { stroke(pen, [[x, y - 4], [x, y + 4]], COLOUR.short, 1.5); }

  // Scale bar, north arrow and the name of the grid.
  drawFrame(pen) {
    const length = roundStep(140 / this.view.scale, 1), px = length * this.view.scale, y = this.h - 16;
    stroke(pen, [[this.w - 20 - px, y - 5], [this.w - 20 - px, y], [this.w - 20, y], [this.w - 20, y - 5]], "#22292e", 1.5);
    label(pen, length >= 1000 ? `${length / 1000} km` : `${length} m`, this.w - 20 - px / 2, y - 10, {align: "center"});
    stroke(pen, [[this.w - 24, 46], [this.w - 24, 16], [this.w - 29, 26]], "#22292e", 1.5); stroke(pen, [[this.w - 24, 16], [this.w - 19, 26]], "#22292e", 1.5);
    label(pen, "N", this.w - 24, 56, {align: "center"});
    label(pen, this.data.run.frame.split(":")[0] + ", grid north", 10, this.h - 14, {colour: "#55534c"});
  }

  zoom(factor, x = this.w / 2, y = this.h / 2) {
    const v = this.view, e = v.e + (x - this.w / 2) / v.scale, n = v.n - (y - this.h / 2) / v.scale;
    v.scale = Math.min(30, Math.max(1e-4, v.scale * factor));
    v.e = e - (x - this.w / 2) / v.scale; v.n = n + (y - this.h / 2) / v.scale; this.draw();
  }

  // What a click means: a mark that is near, else the nearest span.
  pick(x, y) {
    const mark = this.marks.map(m => [Math.hypot(m.x - x, m.y - y), m.i]).sort((a, b) => a[0] - b[0])[0];
    if (mark && mark[0] < 10) return this.page.chooseViolation(mark[1], "map");
    let best = [30, -1];
    for (let i = 0; i < this.page.count; i++) {
      const [[a, b], [c, d]] = this.ends(i), l = (c - a) ** 2 + (d - b) ** 2 || 1;
      const t = Math.min(1, Math.max(0, ((x - a) * (c - a) + (y - b) * (d - b)) / l)), far = Math.hypot(a + t * (c - a) - x, b + t * (d - b) - y);
      if (far < best[0]) best = [far, i];
    }
    if (best[1] >= 0) this.page.chooseSpan(best[1], "map");
  }

  listen() {
    let held = null; const c = this.canvas;
    c.addEventListener("wheel", e => { e.preventDefault(); this.zoom(e.deltaY < 0 ? 1.25 : .8, e.offsetX, e.offsetY); }, {passive: false});
    c.addEventListener("pointerdown", e => { held = {x: e.offsetX, y: e.offsetY, view: {...this.view}, moved: false}; c.setPointerCapture(e.pointerId); });
    c.addEventListener("pointermove", e => {
      if (!held) return; const [dx, dy] = [e.offsetX - held.x, e.offsetY - held.y];
      if (Math.hypot(dx, dy) > 4) held.moved = true;
      if (held.moved) { this.view.e = held.view.e - dx / this.view.scale; this.view.n = held.view.n + dy / this.view.scale; this.draw(); }
    });
    c.addEventListener("pointerup", e => { if (held && !held.moved) this.pick(e.offsetX, e.offsetY); held = null; });
  }
}
