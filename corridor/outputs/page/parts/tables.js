// Tables that sort by their headings; a click on a row chooses it.
const PAGE_ROWS = 150;
// Heading of a column that no schema explains.
const plain = name => { const words = name.replace(/_(m|h|m3|deg)$/, " [$1]").replace("[m3]", "[m\u00b3]").replaceAll("_", " "); return words[0].toUpperCase() + words.slice(1); };

// A button that saves rows as CSV: heads, a name of each head, rows, and the value of a head in a row. No text of it is a formula to a spreadsheet.
function saver(name, given) {
  const cell = v => v === null || v === undefined || (typeof v === "number" && isNaN(v)) ? "" : typeof v === "number" ? String(v) : `"${(/^[=+\-@\t\r]/.test(v) ? "'" : "") + String(v).replaceAll('"', '""')}"`;
  const button = Object.assign(document.createElement("button"), {className: "save", textContent: "save as CSV"});
  button.addEventListener("click", () => {
    const [heads, says, rows, value] = given(), text = [heads.map(h => cell(says(h))), ...rows.map(i => heads.map(h => cell(value(h, i))))].map(r => r.join(",")).join("\r\n") + "\r\n";
    const link = Object.assign(document.createElement("a"), {href: URL.createObjectURL(new Blob(["\ufeff" + text], {type: "text/csv"})), download: `${name}.csv`});
    link.click(); setTimeout(() => URL.revokeObjectURL(link.href), 5000); saver.last = text;
  });
  return button;
}

// The same below a table that stands in the page.
function saverOf(table, name) {
  const own = tr => [...tr.cells].map(c => c.textContent), heads = own(table.tHead.rows[0]);
  return saver(name, () => [range(heads.length), k => heads[k], [...table.tBodies[0].rows].map(own), (k, row) => row[k]]);
}

class SortedTable {
  // columns: [name, digits] or [name]; rows(): numbers of rows to show; pick(row): what a click does, or null.
  // absent: names of columns in which nothing is told in words.
  constructor(place, table, columns, headings, {rows, pick = null, sort = null, short = null, over = null, chosen = () => false, empty = "None.", absent = []}) {
    Object.assign(this, {place, table, columns, headings, rows, pick, sort, short, over, chosen, empty, absent, count: PAGE_ROWS});
  }

  ordered() {
    const list = this.rows(); if (!this.sort) return list;
    const [name, way] = this.sort, column = this.table[name];
    const key = i => column.at(i), last = v => v === null || (typeof v === "number" && isNaN(v));
    return list.map((i, k) => [key(i), k, i]).sort((a, b) => last(a[0]) - last(b[0]) || (last(a[0]) ? 0 : way * (column.numeric ? a[0] - b[0] : a[0].localeCompare(b[0], "en", {numeric: true}))) || a[1] - b[1]).map(r => r[2]);
  }

  cell(i, [name, digits]) {
    const value = this.table[name].at(i), td = document.createElement("td"); Object.assign(td.dataset, {name, says: (this.headings[name] || [plain(name)])[0]});
    if (this.absent.includes(name) && (value === null || value === "" || Number.isNaN(value))) { td.textContent = NOT_GIVEN; return td; }
    if (digits === "bar") {
      td.className = "bar"; const bar = document.createElement("span"); bar.style.width = `${isNaN(value) ? 0 : 12 * value}em`;
      td.append(bar, isNaN(value) ? "" : `${(100 * value).toFixed(0)} %`);
    } else if (this.table[name].numeric) { td.className = "n"; td.textContent = isNaN(value) ? "" : digits === "yes" ? (value ? "yes" : "no") : digits === "any" ? String(+value.toPrecision(3)) : value.toFixed(digits ?? 2); if ((name === this.short && value < 0) || (this.over && name === this.over[0] && value > this.over[1])) td.classList.add("short"); }
    else { td.textContent = value ?? ""; if (value && value.length > 30) Object.assign(td, {className: "long", title: value}); }
    return td;
  }

  draw() {
    const list = this.ordered(); this.place.textContent = "";
    if (!list.length) { this.place.textContent = this.empty; return; }
    const table = document.createElement("table"), head = table.createTHead().insertRow(), body = table.createTBody();
    for (const [name] of this.columns) {
      const th = document.createElement("th"), [text, doc] = this.headings[name] || [plain(name), ""];
      Object.assign(th, {textContent: text, title: doc, scope: "col", tabIndex: 0}); th.dataset.name = name;
      if (this.sort && this.sort[0] === name) th.setAttribute("aria-sort", this.sort[1] > 0 ? "ascending" : "descending");
      const turn = () => { this.sort = [name, this.sort && this.sort[0] === name ? -this.sort[1] : 1]; this.draw(); };
      th.addEventListener("click", turn); th.addEventListener("keydown", e => { if (e.key === "Enter") turn(); }); head.append(th);
    }
    for (const i of list.slice(0, this.count)) this.row(body, i);
    const scroll = Object.assign(document.createElement("div"), {className: "scroll", tabIndex: 0}); scroll.append(table); this.place.append(scroll);
    scroll.setAttribute("role", "region"); scroll.setAttribute("aria-label", this.place.closest("section").querySelector("h2").textContent);
    const under = Object.assign(document.createElement("div"), {className: "under"}); this.place.append(under);
    if (list.length > this.count) this.more(under, list.length);
    under.append(saver(this.place.id, () => [Object.keys(this.table).filter(name => this.table[name].at), name => name, list, (name, i) => this.table[name].at(i)]));
  }

  row(body, i) {
    const tr = body.insertRow(); tr.dataset.row = i; tr.append(...this.columns.map(c => this.cell(i, c)));
    if (this.chosen(i)) tr.className = "chosen";
    if (!this.pick) return;
    tr.tabIndex = 0; tr.addEventListener("click", () => this.pick(i)); tr.addEventListener("keydown", e => { if (e.key === "Enter") this.pick(i); });
  }

  more(under, total) {
    const button = Object.assign(document.createElement("button"), {className: "more", textContent: `${this.count} of ${total} rows: show more`});
    button.addEventListener("click", () => { this.count += 1000; this.draw(); }); under.append(button);
  }

  mark() {
    for (const tr of this.place.querySelectorAll("tbody tr")) tr.classList.toggle("chosen", this.chosen(+tr.dataset.row));
    const tr = this.place.querySelector("tr.chosen"), box = this.place.querySelector(".scroll");
    if (tr && box) box.scrollTop = Math.max(0, tr.offsetTop - box.clientHeight / 2);
  }
}
