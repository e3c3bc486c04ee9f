// Tables that sort by their headings; a click on a row chooses it.
const PAGE_ROWS = 150;
// Heading of a column that no schema explains.
const plain = name => { const words = name.replace(/_(m|h|m3)$/, " [$1]").replaceAll("_", " "); return words[0].toUpperCase() + words.slice(1); };

class SortedTable {
  // columns: [name, digits] or [name]; rows(): numbers of rows to show; pick(row): what a click does, or null.
  constructor(place, table, columns, headings, {rows, pick = null, sort = null, short = null, over = null, chosen = () => false, empty = "None."}) {
    Object.assign(this, {place, table, columns, headings, rows, pick, sort, short, over, chosen, empty, count: PAGE_ROWS});
  }

  ordered() {
    const list = this.rows(); if (!this.sort) return list;
    const [name, way] = this.sort, column = this.table[name];
    const key = i => column.at(i), last = v => v === null || (typeof v === "number" && isNaN(v));
    return list.map((i, k) => [key(i), k, i]).sort((a, b) => last(a[0]) - last(b[0]) || (last(a[0]) ? 0 : way * (column.numeric ? a[0] - b[0] : a[0].localeCompare(b[0], "en", {numeric: true}))) || a[1] - b[1]).map(r => r[2]);
  }

  cell(i, [name, digits]) {
    const value = this.table[name].at(i), td = document.createElement("td");
    if (digits === "bar") {
      td.className = "bar"; const bar = document.createElement("span"); bar.style.width = `${isNaN(value) ? 0 : 12 * value}em`;
      td.append(bar, isNaN(value) ? "" : `${(100 * value).toFixed(0)} %`);
    } else if (this.table[name].numeric) { td.className = "n"; td.textContent = isNaN(value) ? "" : digits === "yes" ? (value ? "yes" : "no") : digits === "any" ? String(+value.toPrecision(3)) : value.toFixed(digits ?? 2); if ((name === this.short && value < 0) || (this.over && name === this.over[0] && value > this.over[1])) td.classList.add("short"); }
    else { td.textContent = value ?? ""; if (value && value.length > 30) td.className = "long"; }
    return td;
  }

  draw() {
    const list = this.ordered(); this.place.textContent = "";
    if (!list.length) { this.place.textContent = this.empty; return; }
    const table = document.createElement("table"), head = table.createTHead().insertRow(), body = table.createTBody();
    for (const [name] of this.columns) {
      const th = document.createElement("th"), [text, doc] = this.headings[name] || [plain(name), ""];
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
