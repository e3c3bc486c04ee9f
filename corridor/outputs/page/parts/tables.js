// Tables that sort by their headings; a click on a row chooses it.
const PAGE_ROWS = 150;

class SortedTable {
  // columns: [name, digits] or [name]; rows(): numbers of rows to show; pick(row): what a click does, or null.
  constructor(place, table, columns, headings, {rows, pick = null, sort = null, short = null, chosen = () => false, empty = "None."}) {
    Object.assign(this, {place, table, columns, headings, rows, pick, sort, short, chosen, empty, count: PAGE_ROWS});
  }

  ordered() {
    const list = this.rows(); if (!this.sort) return list;
    const [name, way] = this.sort, column = this.table[name];
    const key = i => column.at(i), last = v => v === null || (typeof v === "number" && isNaN(v));
    return list.map((i, k) => [key(i), k, i]).sort((a, b) => last(a[0]) - last(b[0]) || (last(a[0]) ? 0 : way * (column.numeric ? a[0] - b[0] : a[0].localeCompare(b[0], "en", {numeric: true}))) || a[1] - b[1]).map(r => r[2]);
  }

  cell(i, [name, digits]) {
    const value = this.table[name].at(i), td = document.createElement("td");
    if (this.table[name].numeric) { td.className = "n"; td.textContent = isNaN(value) ? "" : digits === "yes" ? (value ? "yes" : "no") : value.toFixed(digits ?? 2); if (name === this.short && value < 0) td.classList.add("short"); }
    else td.textContent = value ?? "";
    return td;
  }

  draw() {
    const list = this.ordered(); this.place.textContent = "";
    if (!list.length) { this.place.textContent = this.empty; return; }
    const table = document.createElement("table"), head = table.createTHead().insertRow(), body = table.createTBody();
    for (const [name] of this.columns) {
      const th = document.createElement("th"), [text, doc] = this.headings[name] || [name, ""];
      Object.assign(th, {textContent: text, title: doc, scope: "col", tabIndex: 0});
      if (this.sort && this.sort[0] === name) th.setAttribute("aria-sort", this.sort[1] > 0 ? "ascending" : "descending");
      const turn = () => { this.sort = [name, this.sort && this.sort[0] === name ? -this.sort[1] : 1]; this.draw(); };
      th.addEventListener("click", turn); th.addEventListener("keydown", e => { if (e.key === "Enter") turn(); }); head.append(th);
    }
    for (const i of list.slice(0, this.count)) this.row(body, i);
    const scroll = Object.assign(document.createElement("div"), {className: "scroll"}); scroll.append(table); this.place.append(scroll);
    if (list.length > this.count) this.more(list.length);
  }

  row(body, i) {
    const tr = body.insertRow(); tr.dataset.row = i; tr.append(...this.columns.map(c => this.cell(i, c)));
    if (this.chosen(i)) tr.className = "chosen";
    if (!this.pick) return;
    tr.tabIndex = 0; tr.addEventListener("click", () => this.pick(i)); tr.addEventListener("keydown", e => { if (e.key === "Enter") this.pick(i); });
  }

  more(total) {
    const button = Object.assign(document.createElement("button"), {className: "more", textContent: `${this.count} of ${total} rows: show more`});
    button.addEventListener("click", () => { this.count += 1000; this.draw(); }); this.place.append(button);
  }

  mark() {
    for (const tr of this.place.querySelectorAll("tbody tr")) tr.classList.toggle("chosen", this.chosen(+tr.dataset.row));
    const tr = this.place.querySelector("tr.chosen"), box = this.place.querySelector(".scroll");
    if (tr && box) box.scrollTop = Math.max(0, tr.offsetTop - box.clientHeight / 2);
  }
}

function drawLadder(canvas, data) {
  const {pen, w, h} = sharp(canvas), t = data.tables.ladder, n = rowsOf(t), keys = {};
  for (let i = 0; i < n; i++) (keys[`${t.line.at(i)}, ${t.option.at(i)}`] ||= []).push([t.spans_fixed.at(i), t.limit_current_a.at(i)]);
  const all = Object.values(keys).flat(), most = Math.max(1, ...all.map(q => q[0])), amperes = all.map(q => q[1]).filter(isFinite);
  if (!amperes.length) return label(pen, "No currents: the study has no weather to rate them in, or nothing was assessed.", 12, 20);
  const low = Math.min(...amperes) * .9, high = Math.max(...amperes) * 1.05, x = v => 60 + v / most * (w - 290), y = v => h - 30 - (v - low) / (high - low) * (h - 48);
  for (let s = roundStep(high - low, 5), v = Math.ceil(low / s) * s; v <= high; v += s) { stroke(pen, [[60, y(v)], [w - 230, y(v)]], "#e8e4da", 1); label(pen, v.toFixed(0), 54, y(v), {align: "right", colour: "#6b6a64"}); }
  for (let s = Math.max(1, roundStep(most, 8)), v = 0; v <= most; v += s) label(pen, v.toFixed(0), x(v), h - 14, {align: "center", colour: "#6b6a64"});
  const ends = Object.entries(keys).filter(([, steps]) => steps.some(q => isFinite(q[1]))).slice(0, 12).map(([name, steps], k) => {
    const stairs = steps.flatMap(([a, b], j) => [[x(a), y(b)], [x(j + 1 < steps.length ? steps[j + 1][0] : most), y(b)]]);
    stroke(pen, stairs, [COLOUR.wire, COLOUR.short, COLOUR.clear, COLOUR.unknown][k % 4], 2, DASHES[k - 1] || []);
    return {name, y: y(steps.at(-1)[1])};
  }).filter(e => isFinite(e.y)).sort((a, b) => a.y - b.y);
  ends.forEach((e, k) => { if (k) e.y = Math.max(e.y, ends[k - 1].y + 14); label(pen, e.name, w - 222, e.y); });
}
