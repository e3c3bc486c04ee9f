// The map: easting to the right, northing up, in the grid of the findings.
const MOST_SCALE = 8, SIDE = 64;

class CorridorMap {
  constructor(plot, page) {
    Object.assign(this, {plot, page, data: page.data, marks: [], tiles: new Map()});
    this.fillShapes();
    plot.on("tap", e => this.pick(e.x, e.y)); plot.onSettled(() => this.settle()); plot.onSize(() => this.resize());
  }

  // Ground: light and height become one warm grey; unknown stays paper.
  tile(i) {
    const {cell, west, north, light, height} = this.data.tiles, seam = 1.004 * SIDE * cell;
    this.canvas ||= Object.assign(document.createElement("canvas"), {width: SIDE, height: SIDE});
    const pen = this.canvas.getContext("2d", {willReadFrequently: true}), image = pen.createImageData(SIDE, SIDE), paint = image.data;
    for (let k = 0, from = i * SIDE * SIDE; k < SIDE * SIDE; k++) {
      const l = light.raw[from + k], h = height.raw[from + k] / 255;
      if (!l) continue;
      const b = .60 + .46 * (l / 255);
      paint[4 * k] = (206 + 36 * h) * b; paint[4 * k + 1] = (214 + 20 * h) * b; paint[4 * k + 2] = (190 + 28 * h) * b; paint[4 * k + 3] = 255;
    }
    pen.putImageData(image, 0, 0);
    return {url: this.canvas.toDataURL(), x: west.at(i), y: north.at(i), w: seam, h: seam, tip: ""};
  }

  // Tiles are made when they first come near the view, a few milliseconds of them at a time; from so far that one is a dot, none.
  async fillTiles() {
    const {cell, west, north} = this.data.tiles, size = SIDE * cell, v = this.view; if (v.scale * size < 2) return;
    const w = 1.5 * this.plot.width / v.scale, h = 1.5 * this.plot.height / v.scale, turn = this.turn = (this.turn || 0) + 1;
    const missing = range(west.length).filter(i => !this.tiles.has(i) && Math.abs(west.at(i) + size / 2 - v.e) < w + size && Math.abs(north.at(i) - size / 2 - v.n) < h + size);
    let begin = performance.now();
    for (const i of missing) {
      if (performance.now() - begin > 30) { await breath(); if (turn !== this.turn) return; begin = performance.now(); }
      this.tiles.set(i, this.tile(i));
    }
    if (this.tiles.size !== this.shown) { this.shown = this.tiles.size; this.plot.fill("tiles", [...this.tiles.values()]); }
  }

  // Pieces of a shape as [eastings, northings].
  outline(d, i) {
    return range(d.piece.raw[i + 1] - d.piece.raw[i]).map(k => {
      const a = d.place.raw[d.piece.raw[i] + k], places = range(d.place.raw[d.piece.raw[i] + k + 1] - a);
      return [places.map(j => d.origin[0] + d.e.at(a + j)), places.map(j => d.origin[1] + d.n.at(a + j))];
    });
  }

  fillShapes() {
    const d = this.data.shapes, areas = [], discs = [], ways = [];
    for (let i = 0; i < d.kind.length; i++) {
      const category = d.category.at(i), colour = OBJECTS[category] || "#77736a", pieces = this.outline(d, i), tip = d.name.at(i) || category.replaceAll("_", " ");
      const width = category === "right_of_way" ? 1.4 : 1;
      if (d.kind.raw[i] === 0) discs.push({x: pieces[0][0][0], y: pieces[0][1][0], radius: d.radius.at(i) || 1, colour, alpha: .6, tip});
      else if (d.kind.raw[i] === 2) areas.push({xs: [pieces.map(p => p[0])], ys: [pieces.map(p => p[1])], colour, width, alpha: category === "right_of_way" ? 0 : .55, tip});
      else ways.push({xs: pieces[0][0], ys: pieces[0][1], colour, width: 1.8, dash: wayOf(category), tip});
    }
    this.plot.fill("areas", areas); this.plot.fill("discs", discs); this.plot.fill("ways", ways);
  }

  // Key of what stands about the line: each kind that is drawn.
  key() {
    const d = this.data.shapes, seen = new Map(); for (const i of range(d.kind.length)) if (!seen.has(d.category.at(i))) seen.set(d.category.at(i), d.kind.raw[i]);
    if (this.data.half_width && !seen.has("right_of_way")) seen.set("right_of_way", 1);
    return [...seen].map(([category, kind]) => { const colour = OBJECTS[category] || "#77736a", words = NAMES[category] || category.replaceAll("_", " ");
      return kind === 0 ? dotOf(colour, words) : keyOf([[colour, kind === 2 && category !== "right_of_way" ? 7 : 1.8, category === "right_of_way" ? "6 4" : wayOf(category), words]]); }).join("");
  }

  get view() { const {x_range: x, y_range: y} = this.plot.figure; return {e: (x.start + x.end) / 2, n: (y.start + y.end) / 2, scale: this.plot.width / (x.end - x.start)}; }
  // While it is laid out a plot may have no size for a moment: what is asked for then is shown by `resize`.
  look({e, n, scale}) { const w = this.plot.width / scale / 2, h = this.plot.height / scale / 2; this.scale = scale; if (w > 0 && h > 0) this.plot.show(e - w, n - h, e + w, n + h); }
  centre(e, n) { this.look({...this.view, e, n}); }
  zoom(factor) { const v = this.view; this.look({...v, scale: Math.min(30, v.scale * factor)}); }
  // Another size of the window leaves middle and scale.
  resize() { this.look({...this.view, scale: this.scale || this.view.scale}); }

  fit(rows, room = 1.15) {
    const {e0, n0, e1, n1} = this.data.spans; let [a, b, c, d] = [Infinity, Infinity, -Infinity, -Infinity];
    for (const i of rows) { a = Math.min(a, e0.at(i), e1.at(i)); b = Math.min(b, n0.at(i), n1.at(i)); c = Math.max(c, e0.at(i), e1.at(i)); d = Math.max(d, n0.at(i), n1.at(i)); }
    const scale = Math.min(this.plot.width / Math.max(c - a, 60) / room, this.plot.height / Math.max(d - b, 60) / room, MOST_SCALE);
    this.look({e: (a + c) / 2, n: (b + d) / 2, scale});
  }

  ends(i) { const p = this.data.spans; return [[p.e0.at(i), p.n0.at(i)], [p.e1.at(i), p.n1.at(i)]]; }
  visible(i, room = 60) {
    const [[a, b], [c, d]] = this.ends(i), v = this.view, w = this.plot.width / v.scale / 2 + room, h = this.plot.height / v.scale / 2 + room;
    return Math.max(a, c) > v.e - w && Math.min(a, c) < v.e + w && Math.max(b, d) > v.n - h && Math.min(b, d) < v.n + h;
  }

  // All that follows from the choice; `settle` draws what depends on the scale, too.
  draw() { this.fillSpans(); this.fillMarks(); this.fillWork(); this.settle(); }

  settle() {
    const v = this.view; if (!(v.scale > 0 && isFinite(v.scale))) return;
    this.scale = v.scale;
    const seen = v.scale > .03 || this.page.count < 400 ? range(this.page.count).filter(i => this.visible(i)) : [];
    for (const name of ["areas", "discs", "ways"]) { const drawn = this.plot.find(`${name} drawn`), seen = v.scale > .008; if (drawn.visible !== seen) drawn.visible = seen; }
    const far = v.scale < .02; if (far !== this.far) { this.far = far; this.fillSpans(); this.fillMarks(); }
    this.made = this.fillTiles(); this.fillNear(v.scale, seen); this.crossings = v.scale > .25 ? this.nameCrossings(seen) : []; this.fillStructures(v.scale);
  }

  fillSpans() {
    const order = ["neutral", "clear", "near", "unknown", "short"], page = this.page, words = Object.fromEntries(CLASSES.map(c => [c[0], c]));
    const rows = order.flatMap(name => range(page.count).filter(i => page.standing[i] === name)).map(i => {
      const [, says, full, dash] = words[page.standing[i]], m = page.margin[i];
      return bar(...this.ends(i), COLOUR[page.standing[i]], this.far ? Math.max(1.2, full / 2) : full, dash, `${page.title(i)}: ${says}${isNaN(m) ? "" : `, minimum margin ${m.toFixed(2)} m`}`);
    });
    this.plot.fill("spans", rows); this.plot.fill("chosen", [bar(...this.ends(page.span), HOLD, 13)]);
  }

  fillNear(scale, seen) {
    const page = this.page, wires = [], edges = [], envelopes = [], half = this.data.half_width, d = this.data.envelopes;
    for (const i of seen) {
      const shown = page.shownCase(i);
      if (half && half * scale > 3) for (const side of [-half, half]) edges.push(line([0, 1].map(t => this.place(i, t * this.data.spans.length_m.at(i), side)), "#8f8455", 1.2, "6 4"));
      if (scale > .35) for (const row of page.wireRows(i)) if (this.data.wires.case.at(row) === shown) wires.push(line(wirePoints(this.data.wires, row, this.data.spans.length_m.at(i), 12).map(([x, o]) => this.place(i, x, o)), COLOUR.wire, 1));
      if (scale > .08) for (const row of page.of(d.first, i)) {
        if (d.option.at(row) !== page.option || (page.case !== null && d.case.at(row) !== page.case)) continue;
        const pieces = this.outline(d, row), room = d.room_m.at(row), leaves = room < 0;
        envelopes.push({xs: [pieces.map(p => p[0])], ys: [pieces.map(p => p[1])], colour: leaves ? COLOUR.short : COLOUR.wire, alpha: .14, width: leaves ? 2 : .8,
          tip: `${page.title(i)}, ${d.case.at(row)}: where wires are blown; ` + (isNaN(room) ? "no right-of-way known" : `${Math.abs(room).toFixed(1)} m ${leaves ? "outside of" : "to spare in"} the right-of-way`)});
      }
    }
    this.plot.fill("edges", edges); this.plot.fill("wires", wires); this.plot.fill("envelopes", envelopes);
  }

  // Names of what the seen spans cross, once each, beside the line.
  nameCrossings(seen) {
    const c = this.data.clearances, named = new Set(), found = [];
    for (const i of seen) for (const row of this.page.of(c.first, i)) {
      const name = c.obstacle.at(row), kind = c.against.at(row); if (!name || named.has(name) || !["road", "rail", "water", "line"].includes(kind)) continue;
      named.add(name); found.push(text(this.place(i, c.distance_from_start_m.at(row), 0), name, {colour: "#55534c", dx: 7, dy: -22, style: "italic"}));
    }
    return found;
  }

  // Place along and right of a span, in the grid.
  place(i, along, right) {
    const p = this.data.spans, length = p.length_m.at(i), [e0, n0] = [p.e0.at(i), p.n0.at(i)];
    const [u, v] = [(p.e1.at(i) - e0) / length, (p.n1.at(i) - n0) / length];
    return [e0 + along * u + right * v, n0 + along * v - right * u];
  }

  fillStructures(scale) {
    const d = this.data.structures, marks = [], names = [];
    for (let i = 0; i < d.easting.length; i++) {
      const strain = d.role.at(i) !== "suspension", at = [d.easting.at(i), d.northing.at(i)]; if (scale < (strain ? .008 : .02)) continue;
      marks.push(mark(at, strain ? "square" : "circle", scale < .03 ? 4 : strain ? 9 : 7, "#33383c", {fill: strain ? "#33383c" : "#ffffff"}));
      if (scale > .09 || (strain && scale > .03)) names.push(text(at, d.structure.at(i), {dx: 8, dy: 13}));
    }
    this.plot.fill("structures", marks); const v = this.view, [w, h] = [this.plot.width / v.scale, this.plot.height / v.scale];
    const copies = [...(this.workNames || []), ...names, ...this.crossings].filter(name => Math.abs(name.x - v.e) < w && Math.abs(name.y - v.n) < h).map(name => ({...name}));
    this.plot.fill("names", legible(copies, ...this.plot.pixel));
  }

  // From afar rings would hide the line: a short upright bar stands for each.
  fillMarks() {
    const v = this.data.tables.violations, rings = [], strokes = []; this.marks = [];
    for (const i of this.page.violationRows()) {
      const at = [v.easting.at(i), v.northing.at(i)], chosen = i === this.page.violation; this.marks.push({at, i});
      if (this.far && !chosen) { strokes.push(mark(at, "dash", 9, COLOUR.short, {angle: Math.PI / 2})); continue; }
      const [ring, stroke] = barred(at, chosen, this.page.says(i)); if (chosen) { rings.push(ring); strokes.push(stroke); } else { rings.unshift(ring); strokes.unshift(stroke); }
    }
    this.plot.fill("rings", rings); this.plot.fill("strokes", strokes);
  }

  // Work of a plan by outage: wide lines for wires to pull, marks for the rest, each with its number.
  fillWork() {
    const items = this.page.workItems(), lines = [], raises = []; this.workNames = [];
    for (const w of items) {
      const [colour] = groupOf(w.outage), tip = `${w.item}${w.outage ? `, outage ${w.outage}` : ""}`;
      if (w.spans.length && w.kind === "pull") for (const i of w.spans) lines.push(line(this.ends(i), colour + "99", 18, "solid", tip));
      if (w.kind === "pull" && w.outage && w.spans.length) { const [[a, b], [c, d]] = this.ends(w.spans[w.spans.length >> 1]); this.workNames.push(text([(a + c) / 2, (b + d) / 2], `${w.outage}`, {dx: -4, dy: 19, colour, style: "bold"})); }
      if (w.at) { raises.push(mark(w.at, "triangle", 17, colour, {fill: "#ffffff", width: 3, tip})); if (w.outage) this.workNames.push(text(w.at, `${w.outage}`, {dx: -4, dy: -18, colour, style: "bold"})); }
    }
    this.plot.fill("work", lines); this.plot.fill("raises", raises);
  }

  // What a click means: a mark that is near, else the nearest span.
  pick(e, n) {
    const reach = 1 / this.view.scale, far = ([a, b]) => Math.hypot(a - e, b - n);
    const near = this.marks.map(m => [far(m.at), m.i]).sort((a, b) => a[0] - b[0])[0];
    if (near && near[0] < 10 * reach) return this.page.chooseViolation(near[1], "map");
    let best = [30 * reach, -1];
    for (let i = 0; i < this.page.count; i++) {
      const [[a, b], [c, d]] = this.ends(i), l = (c - a) ** 2 + (d - b) ** 2 || 1;
      const t = Math.min(1, Math.max(0, ((e - a) * (c - a) + (n - b) * (d - b)) / l)), away = far([a + t * (c - a), b + t * (d - b)]);
      if (away < best[0]) best = [away, i];
    }
    if (best[1] >= 0) this.page.chooseSpan(best[1], "map");
  }
}
